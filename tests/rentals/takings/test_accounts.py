"""A party's account: charged as promised, paid, paid back, corrected by contra only, and closed at night."""

from datetime import date, timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from rentals.audit.services import UnableToRepeat
from rentals.lib.access import Act
from rentals.lib.problems import NotVisible
from rentals.lib.writes import write
from rentals.takings import queries, services
from rentals.takings.models import Charge, Good, LedgerEntry, PassUse, Payment, Receipt, Terms, Voucher
from rentals.takings.queries import UnableToQuote, Wanted
from rentals.takings.services import ChargedMeanwhile, ClosedMeanwhile, UnableToTake
from tests.rentals.takings.shop import Shop, eur
from tests.rentals.walk import DAY, HOUR, MINUTE, again


def moved() -> list[tuple[str, str, int]]:
    """What moved in the ledger: from debit to credit, in cents."""
    return list(LedgerEntry.objects.order_by("id").values_list("debit", "credit", "amount_minor"))


class TestCharging:
    def test_an_outing_is_charged_as_it_was_promised(self, shop: Shop) -> None:
        assert shop.account.to_come == eur("50")
        shop.set_price("full-kit", "hour", "99", now=shop.cast.now + MINUTE)

        shop.cast.now += HOUR
        shop.charge()

        (charge,) = shop.account.charges
        assert (charge.gross, charge.tax, charge.outing_id) == (eur("50"), eur("9.35"), shop.outing.pk)
        assert shop.account.balance == eur("50")
        assert shop.account.due == ()
        assert "2 h at EUR 25.00" in charge.reasons[0]["text"]

    def test_a_charge_posts_what_is_ours_and_what_is_the_tax_offices(self, shop: Shop) -> None:
        """50.00 at 23 %: 50 x 23 / 123 = 9.3496, so 9.35 tax and 40.65 sales."""
        shop.charge()

        assert moved() == [("party", "sales", 4065), ("party", "tax", 935)]

    def test_what_is_charged_is_not_charged_again(self, shop: Shop) -> None:
        shop.charge()

        with pytest.raises(UnableToTake, match="nothing more to charge"):
            shop.charge()

    def test_an_outing_called_off_costs_nothing(self, shop: Shop) -> None:
        shop.outing.__class__.objects.update(state="cancelled")

        assert shop.account.due == ()

    def test_coming_back_late_is_charged_by_the_rule(self, shop: Shop) -> None:
        """Forty minutes late, ten free: two started quarters at 5.00."""
        outing = shop.cast.out()
        shop.outing = again(outing)
        shop.cast.land(outing, after=outing.ends_at - shop.cast.now + 40 * MINUTE)

        fees = [due for due in shop.account.due if due.purpose == "late"]

        assert [fee.line.total for fee in fees] == [eur("10")]
        assert "40 min late, 10 min free: 2 started steps" in fees[0].line.reasons[0].text

    def test_goods_are_charged_by_the_list_of_today(self, shop: Shop) -> None:
        wanted = [services_wanted("store", "week", 2, shop), services_wanted("harness", "piece", 1, shop)]

        services.charge_goods(party_id=shop.party.pk, wanted=wanted, **shop.who())

        assert [charge.gross for charge in shop.account.charges] == [eur("50"), eur("4.50")]

    def test_staff_may_name_a_price_with_a_reason(self, shop: Shop) -> None:
        charge = shop.name_a_price()

        assert charge.gross == eur("30")
        assert charge.reasons[0]["text"] == "Ran aground"

    @pytest.mark.parametrize(
        ("field", "values"),
        [
            ("text", {"text": " "}),
            ("why", {"why": ""}),
            ("amount", {"amount": Decimal(0)}),
            ("good", {"good": "kite"}),
        ],
    )
    def test_a_named_price_that_cannot_be_is_refused_beside_its_field(
        self, shop: Shop, field: str, values: dict[str, object]
    ) -> None:
        usual = {"text": "Fin", "amount": Decimal(1), "good": "harness", "why": "Broken"}
        named = services.Named(**{**usual, **values})  # type: ignore[arg-type]  # a test's words

        with pytest.raises((UnableToTake, UnableToQuote)) as refused:
            services.charge_named(party_id=shop.party.pk, named=named, **shop.who())
        assert refused.value.fields.keys() == {field}

    def test_a_station_without_prices_takes_nothing(self, shop: Shop) -> None:
        party = shop.party
        Terms.objects.all().delete()

        with pytest.raises(UnableToTake, match="no prices yet"):
            services.charge_due(party_id=party.pk, **shop.who())

    def test_of_another_station_there_is_no_party(self, shop: Shop) -> None:
        with pytest.raises(NotVisible):
            shop.charge(actor=shop.cast.rhys)


def services_wanted(good: str, unit: str, count: int, shop: Shop) -> Wanted:
    return Wanted(good=good, unit=unit, count=count, day=shop.cast.now.date())


class TestTakingBack:
    def test_a_charge_is_taken_back_whole_and_both_stay(self, shop: Shop) -> None:
        shop.charge()
        (charge,) = shop.account.charges

        services.take_back_charge(charge_id=charge.pk, why="Wrong party", **shop.who())

        assert [each.gross for each in shop.account.charges] == [eur("50"), eur("-50")]
        assert shop.account.balance == eur("0")
        assert moved()[2:] == [("sales", "party", 4065), ("tax", "party", 935)]

    def test_it_can_then_be_charged_anew(self, shop: Shop) -> None:
        shop.charge()
        services.take_back_charge(charge_id=Charge.objects.get().pk, why="Wrong rider", **shop.who())

        shop.charge()

        assert shop.account.balance == eur("50")

    def test_it_is_taken_back_once_and_never_its_contra(self, shop: Shop) -> None:
        charge = shop.name_a_price()
        contra = services.take_back_charge(charge_id=charge.pk, why="Was worn before", **shop.who())

        for each in (charge, contra):
            with pytest.raises(ChargedMeanwhile):
                services.take_back_charge(charge_id=each.pk, why="Again", **shop.who())

    def test_it_needs_a_reason(self, shop: Shop) -> None:
        with pytest.raises(UnableToTake, match="why"):
            services.take_back_charge(charge_id=shop.name_a_price().pk, why=" ", **shop.who())


class TestPaying:
    @pytest.mark.parametrize(
        ("method", "account"), [("cash", "cash"), ("terminal", "terminal"), ("transfer", "bank")]
    )
    def test_a_payment_fills_the_account_of_its_method(self, shop: Shop, method: str, account: str) -> None:
        shop.charge()

        shop.pay("50", method)

        assert moved()[-1] == (account, "party", 5000)
        assert shop.account.balance == eur("0")

    def test_a_deposit_is_a_payment_ahead(self, shop: Shop) -> None:
        shop.pay("10")

        assert shop.account.balance == eur("-10")
        shop.charge()
        assert shop.account.balance == eur("40")

    def test_the_receipt_freezes_lines_taxes_and_what_is_left(self, shop: Shop) -> None:
        shop.charge()
        shop.name_a_price()
        receipt = shop.pay("60").receipt
        shop.keep_terms(seller_name="Somebody else")

        paper = Receipt.objects.get(pk=receipt.pk).paper
        assert str(receipt) == "2027-00001"
        assert paper["seller"]["name"] == "Tarrow Lagoon Windsurf"
        assert [line["gross"] for line in paper["lines"]] == ["50.00", "30.00"]
        assert paper["taxes"] == [{"pct": "23.00", "net": "65.04", "tax": "14.96"}]
        assert (paper["total"], paper["paid"], paper["balance"]) == ("80.00", "60.00", "20.00")

    def test_a_charge_stands_on_one_receipt(self, shop: Shop) -> None:
        shop.charge()
        shop.pay("20")

        paper = shop.pay("30").receipt.paper

        assert paper["lines"] == []
        assert paper["balance"] == "0.00"

    def test_a_year_and_a_station_number_their_receipts_from_one(self, shop: Shop) -> None:
        first, second = shop.pay("1").receipt, shop.pay("1").receipt
        shop.cast.now += 200 * DAY
        next_year = shop.pay("1").receipt

        assert [str(each) for each in (first, second, next_year)] == [
            "2027-00001",
            "2027-00002",
            "2028-00001",
        ]

    def test_a_request_sent_again_pays_once(self, shop: Shop) -> None:
        key = uuid4()

        first, again = shop.pay("20", once=key), shop.pay("20", once=key)

        assert first == again
        assert (Payment.objects.count(), Receipt.objects.count()) == (1, 1)
        with pytest.raises(UnableToRepeat):
            shop.pay("21", once=key)

    @pytest.mark.parametrize(
        ("amount", "method", "field"), [("0", "cash", "amount"), ("1", "shells", "method")]
    )
    def test_what_is_no_payment_is_refused(self, shop: Shop, amount: str, method: str, field: str) -> None:
        with pytest.raises(UnableToTake) as refused:
            shop.pay(amount, method)
        assert refused.value.fields.keys() == {field}

    @pytest.mark.parametrize("amount", ["-5", "1.001", "1e12"])
    def test_an_amount_that_no_till_takes_is_refused(self, shop: Shop, amount: str) -> None:
        with pytest.raises(UnableToTake) as refused:
            shop.pay(amount)
        assert refused.value.fields.keys() == {"amount"}


class TestPayingBack:
    def test_what_was_paid_too_much_is_paid_back(self, shop: Shop) -> None:
        shop.pay("50")

        shop.refund("50", "terminal")

        assert moved()[-1] == ("party", "terminal", 5000)
        assert shop.account.balance == eur("0")

    def test_never_more_than_that(self, shop: Shop) -> None:
        shop.charge()
        shop.pay("60")

        with pytest.raises(UnableToTake, match=r"at most EUR 10\.00"):
            shop.refund("10.01")

    def test_it_needs_a_reason(self, shop: Shop) -> None:
        shop.pay("5")

        with pytest.raises(UnableToTake) as refused:
            shop.refund("5", note="")
        assert refused.value.fields.keys() == {"note"}


class TestDamageExcess:
    def test_it_is_held_beside_the_account_and_paid_back(self, shop: Shop) -> None:
        shop.hold("150")

        assert (shop.account.balance, shop.account.excess_held) == (eur("0"), eur("150"))
        shop.give_back("150")
        assert shop.account.excess_held == eur("0")
        assert moved() == [("cash", "excess", 15000), ("excess", "cash", 15000)]

    def test_it_pays_for_damage_that_was_charged(self, shop: Shop) -> None:
        shop.hold("150")
        shop.name_a_price("30")

        shop.keep("30")

        assert (shop.account.balance, shop.account.excess_held) == (eur("0"), eur("120"))

    def test_no_more_is_kept_than_is_owed_or_paid_back_than_is_held(self, shop: Shop) -> None:
        shop.hold("20")
        shop.name_a_price("30")

        for do, most in ((lambda: shop.keep("20.01"), "20"), (lambda: shop.give_back("20.01"), "20")):
            with pytest.raises(UnableToTake, match=f"at most EUR {most}.00"):
                do()

    def test_its_receipt_says_what_it_is_and_carries_no_charge(self, shop: Shop) -> None:
        shop.charge()

        paper = shop.hold("150").receipt.paper

        assert paper["lines"] == []
        assert "paid back when the kit is back" in paper["note"]


class TestNoWind:
    def no_wind(self, shop: Shop, **values: object) -> Voucher | None:
        return services.credit_outing(outing_id=shop.outing.pk, **shop.who(**{"why": "No wind", **values}))

    def test_what_was_paid_comes_back_as_a_credit_with_a_last_day(self, shop: Shop) -> None:
        shop.charge()
        shop.pay("50")

        credit = self.no_wind(shop)

        assert credit is not None
        assert (credit.kind, credit.amount) == ("credit", eur("50"))
        assert credit.last_day == shop.cast.now.date() + timedelta(days=365)
        assert shop.account.balance == eur("0")

    def test_what_was_never_paid_is_only_taken_back(self, shop: Shop) -> None:
        shop.charge()

        assert self.no_wind(shop) is None
        assert shop.account.balance == eur("0")

    def test_a_part_paid_comes_back_as_that_part(self, shop: Shop) -> None:
        shop.charge()
        shop.pay("20")

        credit = self.no_wind(shop)

        assert credit is not None
        assert credit.amount == eur("20")

    def test_a_credit_pays_for_another_day_as_far_as_it_goes(self, shop: Shop) -> None:
        shop.charge()
        shop.pay("50")
        credit = self.no_wind(shop)
        assert credit is not None
        shop.name_a_price("30")

        shop.redeem(credit.code.lower())

        assert shop.account.balance == eur("0")
        assert services.voucher_left(credit) == eur("20")

    def test_an_outing_that_was_not_charged_has_nothing_to_credit(self, shop: Shop) -> None:
        with pytest.raises(UnableToTake, match="Nothing was charged"):
            self.no_wind(shop)

    def test_it_needs_a_reason(self, shop: Shop) -> None:
        shop.charge()

        with pytest.raises(UnableToTake) as refused:
            self.no_wind(shop, why=" ")
        assert refused.value.fields.keys() == {"why"}

    def test_money_paid_too_much_may_become_a_credit(self, shop: Shop) -> None:
        shop.pay("30")

        services.give_credit(party_id=shop.party.pk, amount=Decimal(30), why="Comes again", **shop.who())

        assert shop.account.balance == eur("0")
        with pytest.raises(UnableToTake, match=r"at most EUR 0\.00"):
            services.give_credit(party_id=shop.party.pk, amount=Decimal(1), why="More", **shop.who())


class TestVouchers:
    def test_a_voucher_is_no_sale_until_it_is_used(self, shop: Shop) -> None:
        """A multi-purpose voucher: Council Directive (EU) 2016/1065, article 30b."""
        shop.sell_voucher("100")

        assert moved() == [("party", "voucher", 10000), ("terminal", "party", 10000)]
        assert not Charge.objects.exists()

    def test_its_receipt_carries_no_charge_of_the_account(self, shop: Shop) -> None:
        shop.charge()
        shop.sell_voucher("100")

        paper = Receipt.objects.get().paper
        assert paper["lines"] == []
        assert "until 13 Jul 2028" in paper["note"]

    def test_it_pays_for_what_is_owed(self, shop: Shop) -> None:
        voucher = shop.sell_voucher("100")
        shop.charge()

        shop.redeem(voucher.code)

        assert shop.account.balance == eur("0")
        assert services.voucher_left(voucher) == eur("50")

    def test_used_up_unknown_or_past_its_day_it_pays_nothing(self, shop: Shop) -> None:
        voucher = shop.sell_voucher("10")
        shop.charge()
        shop.redeem(voucher.code)
        late = shop.sell_voucher("10")

        with pytest.raises(UnableToTake, match="used up"):
            shop.redeem(voucher.code)
        with pytest.raises(UnableToTake, match="no credit or voucher"):
            shop.redeem("NOTHERE0")
        with pytest.raises(UnableToTake, match="good until 13 Jul 2028"):
            shop.redeem(late.code, now=shop.cast.now + 366 * DAY)

    def test_it_pays_nothing_where_nothing_is_owed(self, shop: Shop) -> None:
        voucher = shop.sell_voucher("10")

        with pytest.raises(UnableToTake, match="owes nothing"):
            shop.redeem(voucher.code)

    def test_what_is_left_lapses_at_the_first_close_after_its_last_day(self, shop: Shop) -> None:
        voucher = shop.sell_voucher("10")
        later = shop.cast.now + 366 * DAY

        shop.close("0", day=later.date(), now=later)

        assert moved()[-1] == ("voucher", "lapsed", 1000)
        assert services.voucher_left(voucher) == eur("0")


class TestPasses:
    def test_a_season_card_is_paid_once_and_holds_its_hours(self, shop: Shop) -> None:
        card = shop.sell_card()

        assert (card.minutes, card.charge.gross) == (600, eur("200"))

    def test_an_outing_of_its_rider_takes_hours_and_costs_nothing_more(self, shop: Shop) -> None:
        card = shop.sell_card()
        (due,) = shop.account.due
        assert due.cover is not None
        assert (due.cover.held, due.cover.left) == (card, 480)
        assert shop.account.to_come == eur("0")

        shop.charge()

        assert PassUse.objects.get().minutes == 120
        assert shop.account.balance == eur("200")
        assert shop.account.due == ()

    def test_without_wind_the_hours_go_back_onto_it(self, shop: Shop) -> None:
        shop.sell_card()
        shop.charge()

        services.credit_outing(outing_id=shop.outing.pk, why="No wind", **shop.who())

        assert sum(PassUse.objects.values_list("minutes", flat=True)) == 0

    def test_a_card_with_too_few_hours_covers_nothing(self, shop: Shop) -> None:
        shop.set_price("full-kit", "card", "20", card_hours=1, now=shop.cast.now)
        shop.sell_card()

        (due,) = shop.account.due
        assert due.cover is None

    def test_a_week_covers_seven_days_and_no_more(self, shop: Shop) -> None:
        week = shop.sell_card("week")

        assert (week.minutes, week.last_day - week.first_day) == (None, timedelta(days=6))
        assert shop.account.due[0].cover is not None
        shop.sell_card("week", first_day=shop.cast.now.date() + DAY)
        assert week.last_day == date(2027, 7, 20)

    def test_a_pass_that_was_taken_back_covers_nothing(self, shop: Shop) -> None:
        card = shop.sell_card()
        services.take_back_charge(charge_id=card.charge_id, why="Wrong rider", **shop.who())

        assert shop.account.due[0].cover is None

    @pytest.mark.parametrize(("field", "values"), [("rider_id", {"rider_id": 0}), ("unit", {"unit": "hour"})])
    def test_what_is_no_pass_is_refused(self, shop: Shop, field: str, values: dict[str, object]) -> None:
        usual = {"good": "full-kit", "unit": "card", "rider_id": shop.cast.wren.pk}
        with pytest.raises(UnableToTake) as refused:
            services.sell_pass(
                party_id=shop.party.pk,
                first_day=shop.cast.now.date(),
                **shop.who(**{**usual, **values}),
            )
        assert refused.value.fields.keys() == {field}


class TestClosing:
    def test_a_day_that_adds_up_is_closed_and_what_leaves_the_drawer_is_posted(self, shop: Shop) -> None:
        shop.charge()
        shop.pay("50")

        close = shop.close("50", left="20")

        assert (close.expected_minor, close.difference) == (5000, eur("0"))
        assert moved()[-1] == ("safe", "cash", 3000)

    def test_the_next_day_expects_what_was_left(self, shop: Shop) -> None:
        shop.pay("50")
        shop.close("50", left="20")
        shop.cast.now += DAY

        assert shop.close("20").expected_minor == 2000

    @pytest.mark.parametrize(
        ("cash", "entry"), [("48", ("difference", "cash", 200)), ("53", ("cash", "difference", 300))]
    )
    def test_a_difference_needs_a_word_and_is_posted(
        self, shop: Shop, cash: str, entry: tuple[str, str, int]
    ) -> None:
        shop.pay("50")
        with pytest.raises(UnableToTake, match=r"should hold EUR 50\.00") as refused:
            shop.close(cash)
        assert refused.value.fields.keys() == {"note"}

        shop.close(cash, left=cash, note="Counted twice")

        assert moved()[-1] == entry

    def test_what_comes_after_the_close_counts_for_the_next_day(self, shop: Shop) -> None:
        shop.close("0")

        payment = shop.pay("10")

        assert payment.day == shop.cast.now.date() + DAY

    def test_a_day_is_closed_once_and_never_before_it_comes(self, shop: Shop) -> None:
        shop.close("0")

        with pytest.raises(ClosedMeanwhile, match="closed up to"):
            shop.close("0")
        with pytest.raises(ClosedMeanwhile, match="has not come"):
            shop.close("0", day=shop.cast.now.date() + 2 * DAY)

    def test_a_day_before_takings_is_not_closed_any_more(self, shop: Shop) -> None:
        shop.pay("5")

        with pytest.raises(ClosedMeanwhile, match="Close that day instead"):
            shop.close("0", day=shop.cast.now.date() - DAY)

    def test_no_more_is_left_than_was_counted(self, shop: Shop) -> None:
        with pytest.raises(UnableToTake) as refused:
            shop.close("0", left="1")
        assert refused.value.fields.keys() == {"left"}

    def test_change_comes_from_the_safe(self, shop: Shop) -> None:
        services.put_cash(station_id=shop.cast.tarrow.pk, amount=Decimal(100), **shop.who())

        assert moved() == [("cash", "safe", 10000)]
        assert shop.close("100", left="100").difference == eur("0")


class TestExtending:
    def test_a_longer_time_is_charged_on_top_of_what_was(self, shop: Shop) -> None:
        shop.charge()

        extend(shop, shop.cast.at(15))

        assert [charge.gross for charge in shop.account.charges] == [eur("50"), eur("10")]

    def test_before_the_time_is_charged_nothing_is(self, shop: Shop) -> None:
        extend(shop, shop.cast.at(15))

        assert shop.account.charges == ()

    def test_a_pass_that_paid_pays_on_as_far_as_it_goes(self, shop: Shop) -> None:
        held = shop.sell_card()
        shop.charge()

        extend(shop, shop.cast.at(15))

        assert [use.minutes for use in PassUse.objects.filter(held=held).order_by("id")] == [120, 120]
        assert shop.account.balance == eur("200")

    def test_what_the_pass_has_not_is_charged(self, shop: Shop) -> None:
        """Ten hours on the card, eight of them used elsewhere."""
        held = shop.sell_card()
        other = shop.cast.booked(shop.cast.rider("Rill"))[0]
        PassUse.objects.create(held=held, outing=other, minutes=480, at=shop.cast.now)
        shop.charge()

        extend(shop, shop.cast.at(15))

        assert shop.account.balance == eur("210")

    def test_a_missing_price_keeps_nobody_from_staying_out(self, shop: Shop) -> None:
        shop.charge()
        Good.objects.update(usual=False)
        extend(shop, shop.cast.at(15))

        assert shop.account.balance == eur("50")

    def test_a_station_without_prices_extends_all_the_same(self, shop: Shop) -> None:
        assert shop.outing
        Terms.objects.all().delete()

        extend(shop, shop.cast.at(15))

        assert not Charge.objects.exists()


def extend(shop: Shop, ends_at: object) -> None:
    outing = shop.outing

    @write
    def stay_out() -> None:
        shop.cast.boss.require(Act.CHARGE, station_id=shop.cast.tarrow.pk)
        services.charge_extension(act=Act.CHARGE, outing=outing, ends_at=ends_at, **shop.who())  # type: ignore[arg-type]

    stay_out()


def test_an_account_asks_seven_times_however_long_it_is(shop: Shop) -> None:
    party = shop.party
    shop.charge()
    for _number in range(3):
        shop.name_a_price()
        shop.pay("10")
    shop.sell_card()

    with CaptureQueriesContext(connection) as asked:
        queries.party_account(party, shop.cast.tarrow, now=shop.cast.now)

    assert len(asked) == 7


def test_a_party_that_owes_nothing_is_not_open(shop: Shop) -> None:
    shop.charge()
    assert queries.open_parties(shop.cast.tarrow) == [(shop.party, 5000)]
    shop.pay("50")

    assert queries.open_parties(shop.cast.tarrow) == []
