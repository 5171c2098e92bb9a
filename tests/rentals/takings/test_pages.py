"""Pages of money: few taps to be paid, what is refused keeps what was typed, and every page asks little."""

import re
from datetime import date, datetime

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from rentals.lib import clock
from rentals.takings.models import Charge, DayClose, Payment, Price, Season, Terms, Voucher
from rentals.takings.queries import COLUMNS
from tests.rentals.browser import protected, signed_in
from tests.rentals.takings.shop import Shop, eur
from tests.rentals.walk import DAY

MOST_QUERIES = 13


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


@pytest.fixture
def boss(shop: Shop) -> Client:
    """The manager, signed in."""
    assert shop.party
    return signed_in(shop.cast.manager)


def page(shop: Shop, name: str, *rest: object) -> str:
    return reverse(name, args=[shop.cast.tarrow.slug, *rest])


def tap(client: Client, shop: Shop, deed: str, **values: object) -> str:
    """Post a deed on the account; return the page that follows."""
    answer = client.post(page(shop, "account-act", shop.party.pk, deed), values, follow=True)
    return str(answer.content.decode())


class TestAnAccount:
    def test_two_taps_charge_and_are_paid(self, shop: Shop) -> None:
        desk = signed_in(shop.cast.desk)
        assert "Charge EUR\u00a050.00" in desk.get(page(shop, "account", shop.party.pk)).content.decode()

        assert "Cash EUR\u00a050.00" in tap(desk, shop, "charge")
        after = tap(desk, shop, "pay", amount="50.00", method="cash")

        assert "2027-00001" in after
        assert shop.account.balance == eur("0")

    def test_a_double_tap_pays_once(self, shop: Shop, boss: Client) -> None:
        shop.charge()
        key = "7d9f1d0e-5b0a-4f0c-9a53-2f8d9d0e1a11"

        for _tap in range(2):
            tap(boss, shop, "pay", amount="50.00", method="cash", once=key)

        assert Payment.objects.count() == 1

    def test_what_is_refused_is_said_beside_the_field_and_stays_typed(self, shop: Shop, boss: Client) -> None:
        answer = boss.post(
            page(shop, "account-act", shop.party.pk, "refund"), {"amount": "12.34", "method": "cash"}
        )

        said = answer.content.decode()
        assert answer.status_code == 422
        assert "Enter why it is paid back." in said or "at most" in said
        assert not Payment.objects.exists()

    def test_every_deed_does_what_it_says(self, shop: Shop, boss: Client) -> None:
        tap(boss, shop, "named", text="Fin", amount="30", good="harness", why="Broken")
        tap(boss, shop, "goods", what="harness:piece", count="2")
        tap(boss, shop, "hold", amount="150", method="terminal")
        tap(boss, shop, "keep", amount="30")
        tap(boss, shop, "give-back", amount="20", method="terminal")
        tap(boss, shop, "pay", amount="20", method="cash", note="Rounded up")
        tap(boss, shop, "refund", amount="1", method="cash", note="Change")
        tap(boss, shop, "credit", amount="10", why="Comes again")
        tap(boss, shop, "voucher", amount="40", method="cash")

        assert shop.account.balance == eur("0")
        assert shop.account.excess_held == eur("100")
        tap(boss, shop, "charge")
        code = Voucher.objects.get(kind="voucher").code
        tap(boss, shop, "redeem", code=code)
        assert shop.account.balance == eur("10")
        time = Charge.objects.get(purpose="time")
        tap(boss, shop, "no-wind", outing_id=time.outing_id, why="No wind")
        assert shop.account.balance == eur("0")
        fin = Charge.objects.get(purpose="named")
        tap(boss, shop, "take-back", charge_id=fin.pk, why="Was worn")
        assert shop.account.balance == eur("-30")

    def test_a_season_card_is_sold_and_pays_for_the_outing(self, shop: Shop, boss: Client) -> None:
        sent = {"what": "full-kit:card", "rider_id": shop.cast.wren.pk, "first_day": "2027-07-14"}
        assert "on the pass until" in tap(boss, shop, "pass", **sent)

        tap(boss, shop, "charge")

        assert shop.account.balance == eur("200")
        assert shop.account.due == ()

    def test_the_desk_is_offered_no_refund(self, shop: Shop) -> None:
        shop.pay("10")

        said = signed_in(shop.cast.desk).get(page(shop, "account", shop.party.pk)).content.decode()

        assert "Give what was paid too much as a credit" in said
        assert "Pay back what was paid too much" not in said

    def test_an_unknown_deed_or_party_is_not_found(self, shop: Shop, boss: Client) -> None:
        assert boss.post(page(shop, "account-act", shop.party.pk, "steal")).status_code == 404
        assert boss.get(page(shop, "account", 0)).status_code == 404
        assert signed_in(shop.cast.neighbour).get(page(shop, "account", shop.party.pk)).status_code == 404


class TestCreditsAndVouchers:
    def test_those_that_still_pay_are_listed_with_what_is_left(self, shop: Shop, boss: Client) -> None:
        kept, used = shop.sell_voucher("100"), shop.sell_voucher("20")
        shop.charge()
        shop.redeem(used.code)
        shop.redeem(kept.code)

        said = boss.get(page(shop, "credits")).content.decode()

        assert kept.code in said
        assert "EUR\u00a070.00" in said
        assert used.code not in said
        assert used.code in boss.get(page(shop, "credits") + "?all").content.decode()
        assert "used up" in boss.get(page(shop, "credits") + f"?q={used.code.lower()}").content.decode()

    def test_its_own_page_says_until_when_and_what_was_paid(self, shop: Shop, boss: Client) -> None:
        voucher = shop.sell_voucher("100")
        shop.charge()
        shop.redeem(voucher.code)

        said = boss.get(page(shop, "credit", voucher.code)).content.decode()

        for text in (voucher.code, "13 Jul 2028", "EUR\u00a050.00", "Paid with", "Tarrow Lagoon Windsurf"):
            assert text in said

    def test_past_its_last_day_it_says_so(
        self, shop: Shop, boss: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        voucher = shop.sell_voucher("100")
        monkeypatch.setattr(clock, "now", lambda: shop.cast.now + 366 * DAY)
        # The session is as old as the voucher.
        boss = signed_in(shop.cast.manager)

        assert voucher.code not in boss.get(page(shop, "credits")).content.decode()
        assert "past its last day" in boss.get(page(shop, "credit", voucher.code)).content.decode()

    def test_of_another_station_there_is_none(self, shop: Shop) -> None:
        voucher = shop.sell_voucher("100")
        rhys = signed_in(shop.cast.neighbour)

        assert rhys.get(reverse("credit", args=[shop.cast.kettle.slug, voucher.code])).status_code == 404


class TestPassesAreSeen:
    def test_hours_left_stand_on_account_rider_and_outing(self, shop: Shop, boss: Client) -> None:
        shop.sell_card()
        shop.charge()

        for url in (
            page(shop, "account", shop.party.pk),
            page(shop, "rider", shop.cast.wren.pk),
            page(shop, "outing", shop.outing.pk),
        ):
            assert "8 h 00 min left" in boss.get(url).content.decode(), url

    def test_the_outing_says_what_the_party_owes_and_leads_to_the_till(
        self, shop: Shop, boss: Client
    ) -> None:
        shop.charge()
        shop.pay("20")

        said = boss.get(page(shop, "outing", shop.outing.pk)).content.decode()

        facts = " ".join(said.split())
        for name, amount in (("Charged", "50.00"), ("Paid", "20.00"), ("Open", "30.00")):
            assert re.search(f"<dt>{name}</dt><dd>(<strong>)?EUR.{amount}", facts), name
        assert page(shop, "account", shop.party.pk) in said
        assert "take the money" in said

    def test_an_instructor_is_not_sent_to_the_till(self, shop: Shop) -> None:
        shop.charge()

        said = signed_in(shop.cast.instructor).get(page(shop, "outing", shop.outing.pk)).content.decode()

        assert "take the money" not in said


class TestAReceipt:
    def test_it_shows_lines_taxes_and_what_was_paid(self, shop: Shop, boss: Client) -> None:
        shop.charge()
        receipt = shop.pay("50").receipt

        said = boss.get(page(shop, "receipt", receipt.year, receipt.number)).content.decode()

        for text in ("Receipt 2027-00001", "Tarrow Lagoon Windsurf", "TL 0000 001", "9.35", "40.65", "50.00"):
            assert text in said

    def test_of_another_station_there_is_none(self, shop: Shop, boss: Client) -> None:
        assert boss.get(page(shop, "receipt", 2027, 9)).status_code == 404


class TestTheDay:
    def test_it_shows_what_came_in_and_who_owes(self, shop: Shop, boss: Client) -> None:
        shop.charge()
        shop.pay("20", "terminal")

        said = boss.get(page(shop, "takings")).content.decode()

        assert "owes EUR\u00a030.00" in said
        assert "1 × Full kit" in said
        assert "EUR\u00a020.00" in said

    def test_a_manager_closes_it(self, shop: Shop, boss: Client) -> None:
        shop.pay("20")
        url = page(shop, "takings")

        refused = boss.post(url, {"which": "close", "cash": "19", "left": "0"})
        assert refused.status_code == 422
        assert "should hold EUR 20.00" in refused.content.decode()
        boss.post(url, {"which": "close", "cash": "20", "left": "5"})

        assert DayClose.objects.get().left_minor == 500
        assert "Closed" in boss.get(url).content.decode()

    def test_change_goes_from_the_safe_into_the_drawer_once(self, shop: Shop, boss: Client) -> None:
        sent = {
            "which": "change",
            "change-amount": "80",
            "change-once": "7d9f1d0e-5b0a-4f0c-9a53-2f8d9d0e1a11",
        }

        for _tap in range(2):
            boss.post(page(shop, "takings"), sent)

        assert "should hold <strong>EUR\u00a080.00" in boss.get(page(shop, "takings")).content.decode()

    def test_no_amount_of_change_is_said_beside_the_field(self, shop: Shop, boss: Client) -> None:
        answer = boss.post(page(shop, "takings"), {"which": "change", "change-amount": "0"})

        assert answer.status_code == 422
        assert "above nothing" in answer.content.decode()

    def test_the_desk_is_not_asked_to(self, shop: Shop) -> None:
        said = signed_in(shop.cast.desk).get(page(shop, "takings")).content.decode()

        assert "A manager closes it." in said

    def test_the_ledger_comes_as_csv(self, shop: Shop, boss: Client) -> None:
        shop.pay("20", note="=1+1")

        answer = boss.get(page(shop, "takings-csv"))

        head, row = answer.content.decode().splitlines()
        assert head.split(",") == list(COLUMNS)
        assert row.split(",")[3:7] == ["cash", "party", "20.00", "EUR"]
        assert row.split(",")[10] == "2027-00001"
        assert "attachment" in answer["Content-Disposition"]

    def test_days_that_are_none_fall_back_to_this_year(self, shop: Shop, boss: Client) -> None:
        assert boss.get(page(shop, "takings-csv") + "?from=soon").status_code == 200


class TestThePriceList:
    def test_a_manager_changes_it(self, shop: Shop, boss: Client) -> None:
        url = page(shop, "prices")
        sent = {
            "which": "price",
            "good": "full-kit",
            "unit": "hour",
            "amount": "27",
            "valid_from": "2027-07-14",
        }
        assert boss.post(url, sent).status_code == 302
        season = {"which": "season", "name": "August", "first_day": "2027-08-01", "last_day": "2027-08-31"}
        assert boss.post(url, season).status_code == 302
        tax = {"which": "tax", "name": "standard", "pct": "24", "since": "2028-01-01"}
        assert boss.post(url, tax).status_code == 302
        good = {"which": "good", "code": "fin", "name": "Fin", "kind": "extra", "tax": "standard"}
        assert boss.post(url, good).status_code == 302

        assert Price.objects.order_by("id").last().amount_minor == 2700  # type: ignore[union-attr]
        assert Season.objects.get().name == "August"
        said = boss.get(url).content.decode()
        assert "As they were set" in said
        assert "EUR\u00a027.00" in said

    def test_a_season_is_dropped_by_page(self, shop: Shop, boss: Client) -> None:
        season = shop.keep_season("July", date(2027, 7, 1), date(2027, 7, 31))

        boss.post(page(shop, "prices"), {"which": "drop", "season_id": season.pk})

        assert Season.objects.get().dropped_at is not None
        assert "Drop a season" not in boss.get(page(shop, "prices")).content.decode()

    def test_terms_start_it_where_there_are_none(self, shop: Shop, boss: Client) -> None:
        kettle = reverse("prices", args=[shop.cast.kettle.slug])
        rhys = signed_in(shop.cast.neighbour)
        assert "No prices yet." in rhys.get(kettle).content.decode()
        numbers = {"half_day_min": 240, "hour_step_min": 30, "late_grace_min": 10, "late_step_min": 15}
        more = {"late_step": 5, "late_most": 40, "deposit_pct": 20, "excess": 150, "credit_days": 365}

        rhys.post(kettle, {"which": "terms", "currency": "EUR", "seller_name": "Kettle", **numbers, **more})

        assert Terms.objects.get(station=shop.cast.kettle).late_step_minor == 500

    def test_what_is_refused_is_said_and_stays_typed(self, shop: Shop, boss: Client) -> None:
        sent = {
            "which": "price",
            "good": "full-kit",
            "unit": "card",
            "amount": "27",
            "valid_from": "2027-07-14",
        }

        answer = boss.post(page(shop, "prices"), sent)

        assert answer.status_code == 422
        assert "Enter the hours on a season card" in answer.content.decode()

    def test_who_may_not_is_told_who_may(self, shop: Shop) -> None:
        tax = {"which": "tax", "name": "standard", "pct": "24", "since": "2028-01-01"}

        answer = signed_in(shop.cast.desk).post(page(shop, "prices"), tax)

        assert "manager" in answer.content.decode()
        assert not Price.objects.filter(amount_minor=2700).exists()


PAGES = ["takings", "prices", "account", "receipt"]


@pytest.mark.parametrize("name", PAGES)
class TestEachPage:
    def url(self, shop: Shop, name: str) -> str:
        shop.charge()
        receipt = shop.pay("20").receipt
        rest = {"account": [shop.party.pk], "receipt": [receipt.year, receipt.number]}.get(name, [])
        return page(shop, name, *rest)

    def test_everybody_of_the_station_sees_it_protected(self, shop: Shop, name: str) -> None:
        url = self.url(shop, name)

        for user in (shop.cast.desk, shop.cast.instructor, shop.cast.manager):
            answer = signed_in(user).get(url)
            assert answer.status_code == 200
            protected(answer.headers)

    def test_to_a_stranger_it_does_not_exist(self, shop: Shop, name: str) -> None:
        url = self.url(shop, name)

        assert signed_in(shop.cast.neighbour).get(url).status_code == 404
        assert Client().get(url).status_code == 302

    def test_it_asks_little_however_much_there_is(self, shop: Shop, name: str) -> None:
        url, client = self.url(shop, name), signed_in(shop.cast.desk)
        before = asked(client, url)
        for number in range(3):
            shop.name_a_price(str(number + 1))
            shop.pay("3")

        assert asked(client, url) == before <= MOST_QUERIES


def asked(client: Client, url: str) -> int:
    with CaptureQueriesContext(connection) as queries:
        assert client.get(url).status_code == 200
    return len(queries)
