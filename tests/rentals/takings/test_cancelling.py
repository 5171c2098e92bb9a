"""Calling off: what it costs by the rule of the booking's moment, said before, charged after, or waived.

Wren's time is eleven to one, 50.00 by the list, booked in the morning of the 14th of July 2027.
"""

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from rentals.audit.models import Entry
from rentals.bookings.models import Outing
from rentals.bookings.services import UnableToBook, UnableToMoveOuting
from rentals.lib import clock
from rentals.lib.access import Act, System, service
from rentals.lib.problems import NotAllowed
from rentals.lib.writes import write
from rentals.takings import queries, services
from rentals.takings.mapping.pricing import cancel_share, share_of, share_of_minutes
from rentals.takings.models import CancelRule, Charge, PassUse, Terms
from rentals.takings.queries import CancelQuote
from tests.api.client import Api
from tests.rentals.browser import signed_in
from tests.rentals.takings.shop import Shop, eur
from tests.rentals.walk import HOUR, MINUTE, again


@pytest.fixture
def ruled(shop: Shop) -> Shop:
    """A shop where calling off is free until two hours before, then half the price; not coming costs all."""
    rule(shop)
    assert shop.outing
    return shop


def rule(shop: Shop, free: int = 2, share: int = 50, missed: int = 100, **values: Any) -> CancelRule:
    return services.set_cancel_rule(
        station_id=shop.cast.tarrow.pk,
        free_hours=free,
        share_pct=share,
        missed_pct=missed,
        **shop.who(**values),
    )


def quoted(shop: Shop, *, before: timedelta, missed: bool = False) -> CancelQuote:
    outing = again(shop.outing)
    (found,) = queries.cancel_quotes([outing], missed=missed, now=outing.starts_at - before)
    return found


def call_off(shop: Shop, *, before: timedelta = HOUR, missed: bool = False, **values: Any) -> Outing:
    usual = {"reason": "Ill", "now": shop.outing.starts_at - before}
    return services.cancel_outing(outing_id=shop.outing.pk, missed=missed, **shop.who(**{**usual, **values}))


class TestTheRule:
    @pytest.mark.parametrize(
        ("ahead_min", "pct"),
        # common practice, no source: in time to the minute is in time
        [(24 * 60, 0), (24 * 60 - 1, 50), (1, 50), (0, 50), (-30, 50)],
    )
    def test_it_is_free_until_its_hours_then_takes_its_share(self, ahead_min: float, pct: int) -> None:
        assert cancel_share(ahead_min=ahead_min, free_hours=24, share_pct=50).pct == pct

    @pytest.mark.parametrize(
        ("price", "pct", "fee"), [("50", 50, "25"), ("0.05", 50, "0.03"), ("33.33", 33, "11.00")]
    )
    def test_a_share_is_rounded_half_up_to_the_minor_unit(self, price: str, pct: int, fee: str) -> None:
        """0.05 x 50 % = 0.025, a tie, so 0.03; 33.33 x 33 % = 10.9989."""
        priced = share_of(eur(price), cancel_share(ahead_min=0, free_hours=1, share_pct=pct))

        assert priced is not None
        assert priced.amount == eur(fee)

    @given(st.integers(0, 10**6), st.integers(0, 100), st.integers(0, 10_000))
    def test_no_share_is_more_than_the_whole(self, minor: int, pct: int, minutes: int) -> None:
        share = cancel_share(ahead_min=0, free_hours=1, share_pct=pct)
        price = eur("0.01") * minor

        fee = share_of(price, share)
        kept, _why = share_of_minutes(minutes, share)

        assert fee is None or eur("0") < fee.amount <= price or fee.amount == eur("0")
        assert 0 <= kept <= minutes

    @pytest.mark.parametrize(
        ("field", "values"),
        [("free_hours", {"free": 721}), ("share_pct", {"share": 101}), ("missed_pct", {"missed": -1})],
    )
    def test_one_that_cannot_be_is_refused_beside_its_field(
        self, shop: Shop, field: str, values: dict[str, int]
    ) -> None:
        with pytest.raises(services.UnableToPrice) as refused:
            rule(shop, **values)
        assert refused.value.fields.keys() == {field}


class TestWhatIsSaidBefore:
    def test_in_time_it_is_free_and_says_why(self, ruled: Shop) -> None:
        found = quoted(ruled, before=2 * HOUR)

        assert (found.fee, found.costs) == (eur("0"), False)
        assert found.reason.text == (
            "Called off 2 h before the start, free until 2 h before it: nothing to pay."
        )

    def test_later_it_is_the_share_and_says_why(self, ruled: Shop) -> None:
        found = quoted(ruled, before=45 * MINUTE)

        assert found.fee == eur("25")
        assert "Called off 0 h 45 min before the start" in found.reason.text
        assert "50 % of EUR 50.00: EUR 25.00" in found.reason.text

    def test_who_does_not_come_pays_their_share_whenever_it_is_noted(self, ruled: Shop) -> None:
        assert quoted(ruled, before=-HOUR, missed=True).fee == eur("50")

    def test_a_station_without_a_rule_takes_nothing(self, shop: Shop) -> None:
        found = quoted(shop, before=MINUTE)

        assert not found.costs
        assert "cost nothing here" in found.reason.text

    def test_what_was_booked_before_the_rule_keeps_the_one_of_its_moment(self, ruled: Shop) -> None:
        rule(ruled, share=100, now=ruled.cast.now + MINUTE)

        assert quoted(ruled, before=HOUR).fee == eur("25")

    def test_of_what_the_list_has_no_price_for_nothing_is_taken(self, ruled: Shop) -> None:
        ruled.set_price("full-kit", "hour", None)
        for unit in ("half_day", "day"):
            ruled.set_price("full-kit", unit, None)

        assert quoted(ruled, before=HOUR).fee == eur("0")

    def test_a_party_is_told_all_of_it_and_until_when_it_is_free(self, ruled: Shop) -> None:
        outings = [
            again(each) for each in ruled.cast.booked(ruled.cast.rider("Rill"), ruled.cast.rider("Fenn"))
        ]
        cost = queries.cancel_cost(outings, now=outings[0].starts_at - HOUR)

        assert cost is not None
        assert (cost.fee, cost.minutes) == (eur("50"), 0)
        assert cost.free_until == outings[0].starts_at - 2 * HOUR

    def test_where_there_are_no_prices_nothing_is_told(self, shop: Shop) -> None:
        outing = shop.outing
        Terms.objects.all().delete()

        assert queries.cancel_cost([again(outing)], now=shop.cast.now) is None

    def test_it_asks_seven_times_however_many_are_called_off(self, ruled: Shop) -> None:
        outings = [
            again(each) for each in ruled.cast.booked(*map(ruled.cast.rider, ("Rill", "Fenn", "Tarn")))
        ]

        for few in (outings[:1], outings):
            with CaptureQueriesContext(connection) as asked:
                queries.cancel_quotes(few, missed=False, now=ruled.cast.now)
            assert len(asked) == 7


class TestWhatIsCharged:
    def test_the_fee_is_a_charge_with_its_tax_and_reason(self, ruled: Shop) -> None:
        """25.00 at 23 %: 25 x 23 / 123 = 4.6748, so 4.67."""
        assert call_off(ruled).state == "cancelled"

        (charge,) = ruled.account.charges
        assert (charge.purpose, charge.gross, charge.tax) == ("cancel", eur("25"), eur("4.67"))
        assert "Called off" in charge.text
        assert "50 % of EUR 50.00" in charge.reasons[0]["text"]
        assert ruled.account.balance == eur("25")

    def test_in_time_nothing_is(self, ruled: Shop) -> None:
        call_off(ruled, before=3 * HOUR)

        assert not Charge.objects.exists()

    def test_what_was_charged_goes_back_and_what_was_paid_stays_to_be_given_back(self, ruled: Shop) -> None:
        ruled.charge()
        ruled.pay("50")

        call_off(ruled)

        assert [charge.gross for charge in ruled.account.charges] == [eur("50"), eur("-50"), eur("25")]
        assert ruled.account.too_much == eur("25")
        assert ruled.account.due == ()

    def test_the_share_is_of_what_was_charged_extension_and_all(self, ruled: Shop) -> None:
        ruled.charge()
        outing = ruled.outing

        @write
        def longer() -> None:
            services.charge_extension(act=Act.CHARGE, outing=outing, ends_at=ruled.cast.at(15), **ruled.who())

        longer()

        assert quoted(ruled, before=HOUR).fee == eur("30")

    def test_who_did_not_come_pays_all(self, ruled: Shop) -> None:
        assert call_off(ruled, missed=True).state == "no_show"
        assert ruled.account.balance == eur("50")

    def test_a_reason_is_needed_and_nothing_moves_without(self, ruled: Shop) -> None:
        with pytest.raises(UnableToBook):
            call_off(ruled, reason=" ")
        assert again(ruled.outing).state == "booked"
        assert not Charge.objects.exists()

    def test_twice_it_is_refused_and_charged_once(self, ruled: Shop) -> None:
        call_off(ruled)

        with pytest.raises(UnableToMoveOuting):
            call_off(ruled)
        assert Charge.objects.count() == 1

    def test_a_station_without_prices_calls_off_all_the_same(self, ruled: Shop) -> None:
        Terms.objects.all().delete()

        assert call_off(ruled).state == "cancelled"

    def test_the_service_itself_charges_it_for_who_cancels_from_home(self, ruled: Shop) -> None:
        home = service(System.HOME)
        outing = again(ruled.outing)

        @write
        def leave() -> None:
            home.require_system(System.HOME)
            services.settle_called_off(
                actor=home,
                act=System.HOME,
                outings=[outing],
                reason="cancelled from home",
                now=outing.starts_at - HOUR,
            )

        leave()

        (charge,) = Charge.objects.all()
        assert (charge.gross, charge.by_id) == (eur("25"), None)


class TestAPass:
    def test_its_hours_go_back_but_for_the_share(self, ruled: Shop) -> None:
        held = ruled.sell_card()
        ruled.charge()

        call_off(ruled)

        assert [use.minutes for use in PassUse.objects.filter(held=held).order_by("id")] == [120, -120, 60]
        assert ruled.account.balance == eur("200")

    def test_one_that_would_have_paid_gives_its_share(self, ruled: Shop) -> None:
        held = ruled.sell_card()
        assert "50 % of 120 min: 60 min of the pass" in quoted(ruled, before=HOUR).reason.text

        call_off(ruled)

        assert [use.minutes for use in PassUse.objects.filter(held=held)] == [60]

    def test_in_time_all_of_it_goes_back(self, ruled: Shop) -> None:
        held = ruled.sell_card()
        ruled.charge()

        call_off(ruled, before=3 * HOUR)

        assert sum(PassUse.objects.filter(held=held).values_list("minutes", flat=True)) == 0


class TestWaiving:
    def test_a_manager_waives_it_with_a_reason_which_is_kept(self, ruled: Shop) -> None:
        call_off(ruled, waive="Ferry cancelled")

        assert not Charge.objects.exists()
        said = Entry.objects.filter(subject_kind="party", text__contains="waived")
        assert [entry.text for entry in said] == ["Fee of EUR 25.00 for Wren Alder waived: Ferry cancelled"]

    def test_the_desk_may_not(self, ruled: Shop) -> None:
        with pytest.raises(NotAllowed, match="manager"):
            call_off(ruled, waive="A friend", actor=ruled.cast.ida)
        assert again(ruled.outing).state == "booked"

    def test_what_was_charged_goes_back_all_the_same(self, ruled: Shop) -> None:
        ruled.charge()

        call_off(ruled, waive="Ferry cancelled")

        assert ruled.account.balance == eur("0")


class TestThePage:
    @pytest.fixture
    def late(self, ruled: Shop, monkeypatch: pytest.MonkeyPatch) -> datetime:
        """An hour before the start."""
        now: datetime = ruled.outing.starts_at - HOUR
        monkeypatch.setattr(clock, "now", lambda: now)
        return now

    def url(self, shop: Shop) -> str:
        return reverse("cancel", args=[shop.cast.tarrow.slug, shop.outing.pk])

    def test_it_says_what_each_way_costs_before_anything_is_done(self, ruled: Shop, late: datetime) -> None:
        said = signed_in(ruled.cast.desk).get(self.url(ruled)).content.decode()

        assert "EUR\u00a025.00" in said
        assert "EUR\u00a050.00" in said
        assert "Waive the fee" not in said
        assert again(ruled.outing).state == "booked"

    def test_confirmed_it_is_called_off_and_charged(self, ruled: Shop, late: datetime) -> None:
        signed_in(ruled.cast.desk).post(self.url(ruled), {"reason": "Ill"})

        assert again(ruled.outing).state == "cancelled"
        assert ruled.account.balance == eur("25")

    def test_a_manager_waives_the_fee(self, ruled: Shop, late: datetime) -> None:
        boss = signed_in(ruled.cast.manager)
        assert "Waive the fee" in boss.get(self.url(ruled)).content.decode()

        boss.post(self.url(ruled), {"reason": "Ill", "missed": "1", "waive": "Ferry cancelled"})

        assert again(ruled.outing).state == "no_show"
        assert not Charge.objects.exists()

    def test_without_a_reason_it_says_so_beside_the_field_and_keeps_what_was_typed(
        self, ruled: Shop, late: datetime
    ) -> None:
        answer = signed_in(ruled.cast.manager).post(self.url(ruled), {"reason": "", "waive": "Ferry"})

        assert answer.status_code == 422
        said = answer.content.decode()
        assert "Enter why, for whoever asks later." in said
        assert 'value="Ferry"' in said

    def test_an_instructor_is_told_who_may(self, ruled: Shop, late: datetime) -> None:
        said = signed_in(ruled.cast.instructor).get(self.url(ruled))

        assert said.status_code == 403

    def test_elsewhere_there_is_none(self, ruled: Shop) -> None:
        client: Client = signed_in(ruled.cast.neighbour)

        assert client.get(self.url(ruled)).status_code == 404

    def test_the_price_list_tells_the_rule_and_a_manager_sets_it(self, ruled: Shop, late: datetime) -> None:
        prices = reverse("prices", args=[ruled.cast.tarrow.slug])
        boss = signed_in(ruled.cast.manager)
        sent = {"which": "cancel", "free_hours": "48", "share_pct": "30", "missed_pct": "80"}

        assert boss.post(prices, sent).status_code == 302

        assert "free until 48 h before the start, then 30 % of the price" in boss.get(prices).content.decode()


def test_programs_are_told_first_and_then_call_off(ruled: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: ruled.outing.starts_at - HOUR)
    place = f"/outings/{ruled.outing.pk}/cancel/"
    boss = Api(ruled.cast.manager)

    said = boss.get(place).said
    assert (said["fee"]["amount"], said["pass_minutes"]) == ("25.00", 0)
    assert boss.get(f"{place}?missed=true").said["fee"]["amount"] == "50.00"
    assert boss.post(place, {"reason": "Ill"}).said["state"] == "cancelled"
    assert ruled.account.balance == eur("25")


def test_who_set_the_rule_for_coming_late_stands_beside_the_fee(shop: Shop) -> None:
    outing = shop.cast.out()
    shop.outing = again(outing)
    shop.cast.land(outing, after=outing.ends_at - shop.cast.now + 40 * MINUTE)

    (fee,) = (due for due in shop.account.due if due.purpose == "late")

    assert fee.line.reasons[1].text == "The rule for coming late was set 14 Jul 2027 by Maud Manager."


class TestStorage:
    def store(self, shop: Shop, unit: str = "week", count: int = 2, **values: Any) -> Any:
        usual = {"first_day": shop.cast.now.date(), "what": "Board and sail, rack 4", "good": "store"}
        return services.store_kit(
            party_id=shop.party.pk, unit=unit, count=count, **shop.who(**{**usual, **values})
        )

    @pytest.mark.parametrize(
        ("unit", "count", "last", "price"),
        # From Wednesday, 14 July 2027; the calendar is the source.
        [
            ("day", 3, "2027-07-16", "15"),
            ("week", 2, "2027-07-27", "50"),
            ("month", 1, "2027-08-13", "80"),
            ("season", 1, "2027-12-31", "240"),
        ],
    )
    def test_it_is_charged_by_the_list_and_ends_with_its_days(
        self, shop: Shop, unit: str, count: int, last: str, price: str
    ) -> None:
        stored = self.store(shop, unit, count)

        assert str(stored.last_day) == last
        assert shop.account.balance == eur(price)

    def test_a_month_from_the_31st_ends_with_the_short_month(self, shop: Shop) -> None:
        assert str(self.store(shop, "month", 1, first_day=date(2028, 1, 31)).last_day) == "2028-02-29"

    @pytest.mark.parametrize(
        ("field", "values"),
        [
            ("what", {"what": " "}),
            ("unit", {"unit": "hour"}),
            ("unit", {"good": "full-kit"}),
            ("count", {"unit": "season", "count": 2}),
        ],
    )
    def test_what_cannot_be_is_refused_beside_its_field(
        self, shop: Shop, field: str, values: dict[str, Any]
    ) -> None:
        with pytest.raises(services.UnableToTake) as refused:
            self.store(shop, **values)
        assert refused.value.fields.keys() == {field}

    def test_it_is_fetched_once(self, shop: Shop) -> None:
        stored = self.store(shop)
        services.fetch_kit(stored_id=stored.pk, **shop.who())

        with pytest.raises(services.FetchedMeanwhile):
            services.fetch_kit(stored_id=stored.pk, **shop.who())
        assert queries.stored_at(shop.cast.tarrow, shop.cast.now.date()) == []

    def test_what_was_taken_back_is_not_stored(self, shop: Shop) -> None:
        stored = self.store(shop)

        services.take_back_charge(charge_id=stored.charge_id, why="Wrong party", **shop.who())

        assert queries.stored_at(shop.cast.tarrow, shop.cast.now.date()) == []

    def test_by_page_it_is_stored_listed_and_fetched(
        self, shop: Shop, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(clock, "now", lambda: shop.cast.now)
        desk, slug = signed_in(shop.cast.desk), shop.cast.tarrow.slug
        sent = {"what": "store:week", "count": "1", "first_day": "2027-07-01", "kit": "Board, rack 4"}
        desk.post(reverse("account-act", args=[slug, shop.party.pk, "store"]), sent)

        url = reverse("storage", args=[slug])
        assert "Board, rack 4" in (said := desk.get(url).content.decode())
        assert "time is over" in said
        (each,) = queries.stored_at(shop.cast.tarrow, shop.cast.now.date())
        desk.post(url, {"stored": each.stored.pk})

        assert "Nothing is stored." in desk.get(url).content.decode()

    def test_kit_without_a_name_is_said_beside_its_own_field(
        self, shop: Shop, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(clock, "now", lambda: shop.cast.now)
        sent = {"what": "store:season", "count": "2", "first_day": "2027-07-01", "kit": "Board"}

        answer = signed_in(shop.cast.desk).post(
            reverse("account-act", args=[shop.cast.tarrow.slug, shop.party.pk, "store"]), sent
        )

        assert answer.status_code == 422
        assert "A season is stored once." in answer.content.decode()
