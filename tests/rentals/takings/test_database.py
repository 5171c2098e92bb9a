"""Every constraint and rule of the takings, tried around the services and refused by the database."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, models
from django.db.migrations.loader import MigrationLoader
from django.db.models import CheckConstraint

from rentals.bookings.models import Party
from rentals.lib.rules import Rule
from rentals.stations.models import Station
from rentals.takings.models import (
    CancelRule,
    Charge,
    DayClose,
    Good,
    LedgerEntry,
    Pass,
    PassUse,
    Payment,
    Price,
    Receipt,
    ReceiptLine,
    Season,
    Stored,
    Tax,
    TaxRate,
    Terms,
    Voucher,
)
from tests.rentals.database.rows import HOUR, NOON, Rows, copied, inserted, refused_as_twin, refused_by

MAY, JUNE = date(2027, 5, 1), date(2027, 6, 30)


@pytest.fixture
def rows(db: None) -> Rows:
    """Valid rows, made when first asked for."""
    return Rows()


def terms(rows: Rows) -> Terms:
    return Terms.objects.create(station=rows.station, seller_name="Tarrow")


def tax(rows: Rows) -> Tax:
    return Tax.objects.create(station=rows.station, name="standard")


def rate(rows: Rows) -> TaxRate:
    return TaxRate.objects.create(tax=tax(rows), pct=Decimal(23), since=MAY)


def good(rows: Rows) -> Good:
    return Good.objects.create(
        station=rows.station, code="full-kit", name="Full kit", kind="rental", tax=tax(rows), usual=True
    )


def season(rows: Rows) -> Season:
    return Season.objects.create(
        station=rows.station, name="Spring", first_day=MAY, last_day=JUNE, made_at=NOON
    )


def price(rows: Rows) -> Price:
    return Price.objects.create(good=good(rows), unit="hour", amount_minor=2500, valid_from=MAY, set_at=NOON)


def charge(rows: Rows, **values: Any) -> Charge:
    """The time of an outing, 50.00 with 9.35 tax within."""
    values.setdefault("good", Good.objects.first() or good(rows))
    if "outing" not in values:
        values["outing"] = rows.outing()
    usual: dict[str, Any] = {"purpose": "time", "text": "Full kit", "tax_pct": Decimal(23), "count": 1}
    money = {"each_minor": 5000, "gross_minor": 5000, "tax_minor": 935, "currency": "EUR"}
    return Charge.objects.create(
        station=rows.station, party=rows.party, day=NOON.date(), at=NOON, **{**usual, **money, **values}
    )


def payment(rows: Rows) -> Payment:
    return Payment.objects.create(
        station=rows.station,
        party=rows.party,
        method="cash",
        amount_minor=5000,
        currency="EUR",
        day=NOON.date(),
        at=NOON,
    )


def receipt(rows: Rows) -> Receipt:
    return Receipt.objects.create(
        station=rows.station, year=2027, number=1, payment=payment(rows), paper={}, at=NOON
    )


def receipt_line(rows: Rows) -> ReceiptLine:
    return ReceiptLine.objects.create(receipt=receipt(rows), charge=charge(rows))


def voucher(rows: Rows) -> Voucher:
    return Voucher.objects.create(
        station=rows.station,
        kind="voucher",
        code="ABCD2345",
        party=rows.party,
        amount_minor=1000,
        currency="EUR",
        last_day=NOON.date(),
        at=NOON,
    )


def close(rows: Rows) -> DayClose:
    return DayClose.objects.create(
        station=rows.station,
        day=MAY,
        expected_minor=0,
        counted_minor=0,
        left_minor=0,
        currency="EUR",
        at=NOON,
    )


def entry(rows: Rows, **values: Any) -> LedgerEntry:
    """Fifty euros of cash from a party, on a day of July."""
    if not Terms.objects.exists():
        terms(rows)
    usual: dict[str, Any] = {"debit": "cash", "credit": "party", "amount_minor": 5000, "party": rows.party}
    when = {"day": NOON.date(), "at": NOON, "currency": "EUR", "text": "Paid"}
    return LedgerEntry.objects.create(station=rows.station, **{**usual, **when, **values})


def season_pass(rows: Rows) -> Pass:
    return Pass.objects.create(
        station=rows.station,
        rider=rows.rider,
        charge=charge(rows, outing=None, purpose="goods"),
        minutes=120,
        first_day=MAY,
        last_day=JUNE,
        sold_at=NOON,
    )


def pass_use(rows: Rows) -> PassUse:
    return PassUse.objects.create(held=season_pass(rows), outing=rows.outing(), minutes=60, at=NOON)


def cancel_rule(rows: Rows) -> CancelRule:
    return CancelRule.objects.create(
        station=rows.station, free_hours=24, share_pct=50, missed_pct=100, set_at=NOON
    )


def stored(rows: Rows) -> Stored:
    return Stored.objects.create(
        station=rows.station,
        party=rows.party,
        charge=charge(rows, outing=None, purpose="goods"),
        what="Board, rack 4",
        first_day=MAY,
        last_day=JUNE,
    )


Row = Callable[[Rows], models.Model]

CHECKS: list[tuple[str, Row, dict[str, Any]]] = [
    ("terms_half_day", terms, {"half_day_min": 59}),
    ("terms_hour_step", terms, {"hour_step_min": 61}),
    ("terms_late_grace", terms, {"late_grace_min": 121}),
    ("terms_late_step", terms, {"late_step_min": 4}),
    ("terms_late_most", terms, {"late_step_minor": 1}),
    ("terms_deposit", terms, {"deposit_pct": 101}),
    ("terms_credit_days", terms, {"credit_days": 0}),
    ("tax_rate_range", rate, {"since": JUNE, "pct": 100}),
    ("tax_rate_range", rate, {"since": JUNE, "pct": -1}),
    ("good_kind", good, {"code": "kite", "usual": False, "kind": "kite"}),
    ("good_usual_is_sold", good, {"code": "kite", "kind": "extra", "sold": False}),
    ("season_span", season, {"first_day": date(2028, 5, 1), "last_day": date(2028, 4, 30)}),
    ("season_dropped_later", season, {"dropped_at": NOON - HOUR}),
    ("price_unit", price, {"unit": "score"}),
    ("price_card_has_hours", price, {"unit": "card"}),
    ("price_card_has_hours", price, {"card_hours": 10}),
    ("charge_purpose", charge, {"outing_id": None, "purpose": "tip"}),
    ("charge_count", charge, {"outing_id": None, "count": 0, "gross_minor": 0, "tax_minor": 0}),
    ("charge_adds_up", charge, {"outing_id": None, "count": 2}),
    ("charge_sign", charge, {"outing_id": None, "each_minor": -1, "gross_minor": -1, "tax_minor": 0}),
    ("charge_tax_within", charge, {"outing_id": None, "tax_minor": 5001}),
    ("charge_tax_within", charge, {"outing_id": None, "tax_minor": -1}),
    ("payment_method", payment, {"method": "shells"}),
    ("payment_moves_money", payment, {"amount_minor": 0}),
    ("refund_says_why", payment, {"amount_minor": -1}),
    ("voucher_kind", voucher, {"code": "X", "kind": "gift", "why": "Birthday"}),
    ("voucher_is_worth_something", voucher, {"code": "X", "amount_minor": 0}),
    ("credit_says_why", voucher, {"code": "X", "kind": "credit"}),
    ("close_leaves_what_was_counted", close, {"day": JUNE, "left_minor": 1}),
    ("close_difference_says_why", close, {"day": JUNE, "counted_minor": 1}),
    ("entry_accounts", entry, {"debit": "pocket"}),
    ("entry_between_two", entry, {"debit": "party"}),
    ("entry_amount", entry, {"amount_minor": 0}),
    ("entry_amount", entry, {"amount_minor": -1}),
    ("entry_names_its_party", entry, {"party_id": None}),
    ("entry_names_its_voucher", entry, {"credit": "voucher"}),
    ("cancel_rule_hours", cancel_rule, {"free_hours": 721}),
    ("cancel_rule_shares", cancel_rule, {"share_pct": 101}),
    ("cancel_rule_shares", cancel_rule, {"missed_pct": 101}),
    ("stored_span", stored, {"last_day": date(2027, 4, 30)}),
    ("stored_says_what", stored, {"what": ""}),
    ("pass_use_sign", pass_use, {"minutes": 0}),
    ("pass_use_sign", pass_use, {"minutes": -1}),
]

TWINS: list[tuple[str, Row, tuple[str, ...], dict[str, Any]]] = [
    ("tax_name_once", tax, ("station_id", "name"), {}),
    ("tax_rate_once_a_day", rate, ("tax_id", "since"), {"pct": Decimal(24)}),
    ("good_code_once", good, ("station_id", "code"), {"usual": False}),
    ("one_usual_good_of_a_kind", good, ("station_id", "kind"), {"code": "board"}),
    ("voucher_code_once", voucher, ("station_id", "code"), {}),
    ("day_closed_once", close, ("station_id", "day"), {}),
]


ELSEWHERE = {
    "charge_taken_back_says_why": "TestChargeTakenBackWhole",
    "receipt_number_once": "TestReceiptNumbersHaveNoGap",
    "pass_span": "TestPass",
    "pass_minutes": "TestPass",
}
"""Constraints tried in a class below, because a copy of a row meets another rule first."""


@pytest.mark.parametrize(("name", "row", "wrong"), CHECKS)
def test_a_row_that_cannot_be_is_refused(rows: Rows, name: str, row: Row, wrong: dict[str, Any]) -> None:
    valid = row(rows)

    with refused_by(name):
        if isinstance(valid, Terms):
            Terms.objects.filter(pk=valid.pk).update(**wrong)
        else:
            inserted(copied(valid, **wrong))


@pytest.mark.parametrize(("name", "row", "columns", "other"), TWINS, ids=[twin[0] for twin in TWINS])
def test_a_second_row_of_what_is_there_once_is_refused(
    rows: Rows, name: str, row: Row, columns: tuple[str, ...], other: dict[str, Any]
) -> None:
    first = row(rows)

    with refused_as_twin(columns):
        inserted(copied(first, **other))


def test_every_constraint_is_tried_here_and_stands_in_the_database(db: None) -> None:
    tried = {name for name, *_ in CHECKS} | {name for name, *_ in TWINS} | set(ELSEWHERE)
    declared: set[str] = set()
    there: set[str] = set()
    for model in apps.get_app_config("takings").get_models():
        with connection.cursor() as cursor:
            found = connection.introspection.get_constraints(cursor, model._meta.db_table)
        for constraint in model._meta.constraints:
            declared.add(constraint.name)
            kind = "check" if isinstance(constraint, CheckConstraint) else "unique"
            if constraint.name in found and bool(dict(found[constraint.name]).get(kind)):
                there.add(constraint.name)

    assert tried == declared == there


KEPT: dict[str, Row] = {
    "takings_taxrate": rate,
    "takings_price": price,
    "takings_charge": charge,
    "takings_payment": payment,
    "takings_receipt": receipt,
    "takings_receiptline": receipt_line,
    "takings_voucher": voucher,
    "takings_dayclose": close,
    "takings_ledgerentry": entry,
    "takings_pass": season_pass,
    "takings_passuse": pass_use,
    "takings_cancelrule": cancel_rule,
}
"""Tables whose rows stay as they were written."""


@pytest.mark.parametrize(("table", "row"), KEPT.items(), ids=KEPT)
class TestWhatIsWrittenStays:
    def test_it_is_not_changed(self, rows: Rows, table: str, row: Row) -> None:
        kept = row(rows)
        name = kept._meta.concrete_fields[1].attname

        with refused_by(f"{table}_append_only"):
            type(kept)._default_manager.filter(pk=kept.pk).update(**{name: getattr(kept, name)})

    def test_it_is_not_removed(self, rows: Rows, table: str, row: Row) -> None:
        kept = row(rows)

        with refused_by(f"{table}_append_only"):
            type(kept)._default_manager.filter(pk=kept.pk)._raw_delete("default")

    def test_the_table_is_not_emptied(self, rows: Rows, table: str, row: Row) -> None:
        if connection.vendor == "sqlite":
            return  # SQLite has no TRUNCATE.
        with refused_by(f"{table}_append_only_truncate"), connection.cursor() as cursor:
            cursor.execute(f"TRUNCATE ONLY {table} CASCADE")


class TestSeasonDaysOnce:
    rule = "season_days_once"

    @pytest.mark.parametrize(
        ("first", "last"),
        [(MAY, JUNE), (JUNE, date(2027, 7, 31)), (date(2027, 4, 1), MAY), (date(2027, 5, 9),) * 2],
    )
    def test_a_season_that_meets_another_is_refused(self, rows: Rows, first: date, last: date) -> None:
        kept = season(rows)

        with refused_by(self.rule):
            inserted(copied(kept, first_day=first, last_day=last))

    def test_a_season_apart_from_it_is_taken(self, rows: Rows) -> None:
        inserted(copied(season(rows), first_day=date(2027, 7, 1), last_day=date(2027, 7, 1)))

        assert Season.objects.count() == 2

    def test_a_dropped_one_leaves_its_days_free_and_is_not_brought_back_over_another(
        self, rows: Rows
    ) -> None:
        gone = season(rows)
        Season.objects.filter(pk=gone.pk).update(dropped_at=NOON)
        inserted(copied(gone, dropped_at=None))

        with refused_by(self.rule):
            Season.objects.filter(pk=gone.pk).update(dropped_at=None)


def taken_back(first: Charge, **values: Any) -> Charge:
    """The contra of a charge, not kept yet."""
    contra = {"each_minor": -5000, "gross_minor": -5000, "tax_minor": -935, "why": "Wrong"}
    return copied(first, **{**contra, "reverses_id": first.pk, **values})


class TestChargeTakenBackWhole:
    rule = "charge_taken_back_whole"

    def test_it_is_taken_back_whole(self, rows: Rows) -> None:
        inserted(taken_back(charge(rows)))

        assert Charge.objects.count() == 2

    @pytest.mark.parametrize(
        "part",
        [{"each_minor": -4999, "gross_minor": -4999}, {"tax_minor": -934}, {"currency": "GBP"}],
    )
    def test_never_in_part_or_another_currency(self, rows: Rows, part: dict[str, Any]) -> None:
        first = charge(rows)

        with refused_by(self.rule):
            inserted(taken_back(first, **part))

    def test_never_twice(self, rows: Rows) -> None:
        first = charge(rows)
        inserted(taken_back(first))

        with refused_as_twin(("reverses_id",)):
            inserted(taken_back(first))

    def test_never_the_contra_itself(self, rows: Rows) -> None:
        first = charge(rows)
        inserted(taken_back(first))
        contra = Charge.objects.get(reverses=first)

        with refused_by(self.rule):
            inserted(taken_back(first, reverses_id=contra.pk))

    def test_never_without_a_reason(self, rows: Rows) -> None:
        first = charge(rows)

        with refused_by("charge_taken_back_says_why"):
            inserted(taken_back(first, why=""))


class TestOutingChargedOnce:
    rule = "outing_charged_once"

    @pytest.mark.parametrize("purpose", ["time", "late"])
    def test_its_time_and_its_late_fee_are_charged_once(self, rows: Rows, purpose: str) -> None:
        first = charge(rows, purpose=purpose)

        with refused_by(self.rule):
            inserted(copied(first))

    def test_it_may_be_extended_again_and_again(self, rows: Rows) -> None:
        inserted(copied(charge(rows, purpose="extension")))

        assert Charge.objects.count() == 2

    def test_once_taken_back_it_is_charged_anew(self, rows: Rows) -> None:
        first = charge(rows)
        inserted(taken_back(first))

        inserted(copied(first))

        assert Charge.objects.count() == 3


class TestCalledOffChargedOnce:
    rule = "called_off_charged_once"

    def test_the_fee_of_an_outing_is_charged_once(self, rows: Rows) -> None:
        first = charge(rows, purpose="cancel")

        with refused_by(self.rule):
            inserted(copied(first))
        inserted(taken_back(first))
        inserted(copied(first))


class TestStoredIsFetchedOnce:
    rule = "stored_is_fetched_once"

    def test_it_is_fetched_once_and_changes_in_nothing_else(self, rows: Rows) -> None:
        kept = stored(rows)

        with refused_by(self.rule):
            Stored.objects.filter(pk=kept.pk).update(last_day=MAY)
        Stored.objects.filter(pk=kept.pk).update(fetched_at=NOON)
        with refused_by(self.rule):
            Stored.objects.filter(pk=kept.pk).update(fetched_at=None)


class TestReceiptNumbersHaveNoGap:
    rule = "receipt_numbers_have_no_gap"

    @pytest.mark.parametrize("number", [0, 1, 3])
    def test_the_next_number_follows_the_last(self, rows: Rows, number: int) -> None:
        first, other = receipt(rows), payment(rows)

        with refused_by(self.rule):
            inserted(copied(first, payment_id=other.pk, number=number))
        inserted(copied(first, payment_id=other.pk, number=2))

    def test_the_first_of_a_year_is_one(self, rows: Rows) -> None:
        first, other = receipt(rows), payment(rows)

        with refused_by(self.rule):
            inserted(copied(first, payment_id=other.pk, year=2028, number=2))
        inserted(copied(first, payment_id=other.pk, year=2028, number=1))

    def test_a_number_is_given_once_even_where_the_rule_sees_no_other(self, rows: Rows) -> None:
        first = receipt(rows)
        with connection.cursor() as cursor:
            found = connection.introspection.get_constraints(cursor, first._meta.db_table)

        assert dict(found["receipt_number_once"])["columns"] == ["station_id", "year", "number"]
        assert dict(found["receipt_number_once"])["unique"]


class TestCurrency:
    rule = "entry_in_the_currency_of_the_station"

    def test_an_entry_is_in_the_currency_of_the_station(self, rows: Rows) -> None:
        kept = entry(rows)

        with refused_by(self.rule):
            inserted(copied(kept, currency="GBP"))


class TestCurrencyStays:
    rule = "currency_stays"

    def test_once_money_was_taken(self, rows: Rows) -> None:
        here = Station.objects.filter(pk=terms(rows).station_id)
        here.update(currency="GBP")
        here.update(currency="EUR")
        entry(rows)

        with refused_by(self.rule):
            here.update(currency="GBP")


class TestPartyOfTheStation:
    rule = "entry_of_the_party_of_the_station"

    def test_a_party_of_elsewhere_owes_nothing_here(self, rows: Rows) -> None:
        kept, elsewhere = entry(rows), copied(rows.station, name="Kettle Bay", slug="kettle-bay")
        inserted(elsewhere)
        other = Party.objects.create(
            station=type(elsewhere).objects.get(slug="kettle-bay"), contact_name="Ada", contact_phone="0700"
        )

        with refused_by(self.rule):
            inserted(copied(kept, party_id=other.pk))


class TestClosedDayStays:
    rule = "closed_day_stays"

    def test_nothing_is_posted_to_a_closed_day_or_before(self, rows: Rows) -> None:
        kept = entry(rows)
        close(rows)

        for day in (MAY, date(2027, 4, 30)):
            with refused_by(self.rule):
                inserted(copied(kept, day=day))
        inserted(copied(kept, day=date(2027, 5, 2)))


class TestDaysCloseInOrder:
    rule = "days_close_in_order"

    def test_no_day_is_closed_before_one_that_is(self, rows: Rows) -> None:
        kept = close(rows)

        with refused_by(self.rule):
            inserted(copied(kept, day=date(2027, 4, 30)))


class TestVoucherNotOverdrawn:
    rule = "voucher_not_overdrawn"

    def sold(self, rows: Rows) -> LedgerEntry:
        return entry(rows, debit="party", credit="voucher", amount_minor=1000, voucher=voucher(rows))

    def test_it_pays_what_is_left_of_it(self, rows: Rows) -> None:
        sold = self.sold(rows)
        used = {"debit": "voucher", "credit": "party"}
        inserted(copied(sold, **used, amount_minor=600))

        with refused_by(self.rule):
            inserted(copied(sold, **used, amount_minor=401))
        inserted(copied(sold, **used, amount_minor=400))

    def test_what_was_never_sold_pays_nothing(self, rows: Rows) -> None:
        with refused_by(self.rule):
            entry(rows, debit="voucher", credit="party", amount_minor=1, voucher=voucher(rows))


class TestVoucherUntilItsLastDay:
    rule = "voucher_until_its_last_day"

    def test_past_its_last_day_it_pays_no_party(self, rows: Rows) -> None:
        sold = TestVoucherNotOverdrawn().sold(rows)
        late = {"debit": "voucher", "day": date(2027, 7, 15)}

        with refused_by(self.rule):
            inserted(copied(sold, **late, credit="party"))
        inserted(copied(sold, **late, credit="lapsed"))


class TestPass:
    @pytest.mark.parametrize(
        ("name", "wrong"), [("pass_span", {"last_day": date(2027, 4, 30)}), ("pass_minutes", {"minutes": 0})]
    )
    def test_a_pass_that_cannot_be_is_refused(self, rows: Rows, name: str, wrong: dict[str, Any]) -> None:
        kept = season_pass(rows)
        other = charge(rows, outing=None, purpose="goods")

        with refused_by(name):
            inserted(copied(kept, charge_id=other.pk, **wrong))


class TestPassNotOverdrawn:
    rule = "pass_not_overdrawn"

    def test_it_holds_its_minutes_and_no_more(self, rows: Rows) -> None:
        use = pass_use(rows)

        with refused_by(self.rule):
            inserted(copied(use, minutes=61))
        inserted(copied(use, minutes=60))


class TestPassUseGivenBackWhole:
    rule = "pass_use_given_back_whole"

    def test_minutes_go_back_whole(self, rows: Rows) -> None:
        use = pass_use(rows)

        with refused_by(self.rule):
            inserted(copied(use, minutes=-59, gives_back_id=use.pk))
        inserted(copied(use, minutes=-60, gives_back_id=use.pk))


def test_every_rule_is_tried_here() -> None:
    tried = {each.rule for each in globals().values() if hasattr(each, "rule")}
    tried |= {f"{table}_append_only{end}" for table in KEPT for end in ("", "_truncate")}
    ours = {
        rule.name
        for (app, _), migration in MigrationLoader(None).disk_migrations.items()
        if app == "takings"
        for rule in migration.operations
        if isinstance(rule, Rule)
    }

    assert tried == ours
