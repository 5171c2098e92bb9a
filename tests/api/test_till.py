"""The till for programs: the price list set and ended, passes, credits, excess, the ledger and the close."""

from typing import Any
from uuid import uuid4

import pytest

from rentals.takings.models import LedgerEntry, Pass, Price, Season, Voucher
from tests.api.client import Answer, Api
from tests.rentals.takings.shop import Shop
from tests.rentals.walk import Walk

STATION = "/stations/tarrow-lagoon"


@pytest.fixture
def shop(cast: Walk) -> Shop:
    """A station with prices and a party."""
    shop = Shop(cast)
    assert shop.party
    return shop


@pytest.fixture
def boss(shop: Shop, api: Api) -> Api:
    """The manager's token."""
    return api.of(shop.cast.manager)


@pytest.fixture
def party(shop: Shop) -> str:
    """The address of Wren's party."""
    return f"/parties/{shop.party.pk}"


def amounts(answer: Answer, *names: str) -> tuple[str, ...]:
    return tuple(answer.said[name]["amount"] for name in names)


class TestThePriceList:
    def test_a_price_is_set_and_ended_and_both_rows_stay(self, boss: Api) -> None:
        full = {"good": "full-kit", "unit": "week"}
        boss.post(f"{STATION}/prices/", {**full, "amount": "360.00", "valid_from": "2027-08-01"})
        ended = boss.post(f"{STATION}/prices/end/", {**full, "valid_from": "2027-09-01"}).said

        assert ended["amount"] is None
        rows = boss.get(f"{STATION}/prices/set/").said
        assert [row["amount"] and row["amount"]["amount"] for row in rows[:2]] == [None, "360.00"]
        assert week(boss, "2027-07-31") == "340.00"
        assert week(boss, "2027-08-31") == "360.00"
        assert week(boss, "2027-09-01") is None

    @pytest.mark.parametrize(
        ("wrong", "pointer"),
        [
            ({"amount": "27.001"}, "/amount"),
            ({"good": "kite"}, "/good"),
            ({"season_id": 99}, "/season_id"),
            ({"card_hours": 5}, "/card_hours"),
            ({"amount": "-1"}, "/amount"),
        ],
    )
    def test_what_cannot_be_is_refused_beside_its_field(
        self, boss: Api, wrong: dict[str, Any], pointer: str
    ) -> None:
        usual = {"good": "full-kit", "unit": "hour", "amount": "27", "valid_from": "2027-08-01"}

        answer = boss.post(f"{STATION}/prices/", {**usual, **wrong})

        assert answer.status == 422
        assert list(answer.blamed) == [pointer]

    def test_terms_go_out_as_they_came_in(self, boss: Api) -> None:
        terms = {"currency": "EUR", "seller_name": "Tarrow", "late_step": "7.50", "late_most": "30"}

        said = boss.put(f"{STATION}/money-terms/", terms).said

        assert said == boss.get(f"{STATION}/money-terms/").said
        assert said["late_step"] == {"amount": "7.50", "currency": "EUR"}


def week(boss: Api, day: str) -> str | None:
    """What a week of the full kit costs from a day on."""
    (kit,) = (row for row in boss.get(f"{STATION}/prices/", day=day).said if row["good"] == "full-kit")
    found = {each["unit"]: each["price"]["amount"] for each in kit["prices"]}
    return found.get("week")


class TestPasses:
    def test_a_card_is_sold_and_what_is_left_is_told(self, shop: Shop, boss: Api, party: str) -> None:
        body = {
            "rider_id": shop.cast.wren.pk,
            "good": "full-kit",
            "unit": "card",
            "first_day": "2027-07-14",
        }
        assert boss.post(f"{party}/passes/", body).said["minutes_left"] == 600
        boss.post(f"{party}/charges/", None)

        (held,) = boss.get(f"/riders/{shop.cast.wren.pk}/passes/").said

        assert (held["minutes"], held["minutes_left"], held["last_day"]) == (600, 480, "2028-07-13")

    def test_for_a_stranger_it_is_refused_beside_the_rider(self, boss: Api, party: str) -> None:
        body = {"rider_id": 999, "good": "full-kit", "unit": "card", "first_day": "2027-07-14"}

        assert list(boss.post(f"{party}/passes/", body).blamed) == ["/rider_id"]


class TestCredits:
    def test_what_the_wind_spoilt_comes_back_as_a_credit_that_pays(
        self, shop: Shop, boss: Api, party: str
    ) -> None:
        shop.charge()
        shop.pay("50")

        credit = boss.post(f"/outings/{shop.outing.pk}/no-wind/", {"why": "No wind"}).said["credit"]
        assert (credit["left"]["amount"], credit["state"]) == ("50.00", "good")
        boss.post(f"{party}/charges/goods/", {"goods": [{"good": "harness", "unit": "piece", "count": 2}]})
        spent = boss.post(f"{party}/redemptions/", {"code": credit["code"]})

        assert amounts(spent, "amount", "left") == ("50.00", "41.00")
        assert boss.get(f"{STATION}/credits/{credit['code']}/").said == spent.said
        assert [each["code"] for each in boss.get(f"{STATION}/credits/").said] == [credit["code"]]

    def test_nothing_paid_gives_no_credit(self, shop: Shop, boss: Api) -> None:
        shop.charge()

        answer = boss.post(f"/outings/{shop.outing.pk}/no-wind/", {"why": "No wind"})

        assert answer.said == {"credit": None}


class TestExcess:
    def test_it_is_held_kept_and_given_back(self, boss: Api, party: str) -> None:
        boss.post(f"{party}/excess/", {"amount": "150", "method": "terminal"})
        fin = {"text": "Fin", "amount": "30", "good": "harness", "why": "Ran aground"}
        boss.post(f"{party}/charges/named/", fin)
        kept = boss.post(f"{party}/excess/keep/", {"amount": "30"})
        back = boss.post(f"{party}/excess/back/", {"amount": "120", "method": "terminal"})

        assert amounts(kept, "balance", "excess_held") == ("0.00", "120.00")
        assert amounts(back, "amount") == ("-120.00",)
        assert amounts(boss.get(f"{party}/account/"), "excess_held") == ("0.00",)


class TestTheDay:
    def test_it_is_told_and_closed(self, shop: Shop, boss: Api) -> None:
        shop.charge()
        shop.pay("20")
        boss.post(f"{STATION}/takings/change/", {"amount": "80"})

        day = boss.get(f"{STATION}/takings/").said
        assert (day["drawer"]["amount"], day["close"]) == ("100.00", None)
        assert day["open"] == [{"party_id": shop.party.pk, "balance": {"amount": "30.00", "currency": "EUR"}}]
        close = {"day": "2027-07-14", "cash": "99", "left": "80", "note": "Counted twice"}
        answer = boss.post(f"{STATION}/takings/close/", close)

        assert amounts(answer, "expected", "counted", "left", "difference") == (
            "100.00",
            "99.00",
            "80.00",
            "-1.00",
        )
        assert boss.get(f"{STATION}/takings/").said["close"] == answer.said

    def test_the_ledger_is_read_in_the_order_it_was_written(self, shop: Shop, boss: Api) -> None:
        shop.charge()
        shop.pay("50")

        said = boss.get(f"{STATION}/ledger/", since="2027-07-14", until="2027-07-14").said["results"]

        assert [(row["debit"], row["credit"], row["amount"]["amount"]) for row in said] == [
            ("party", "sales", "40.65"),
            ("party", "tax", "9.35"),
            ("cash", "party", "50.00"),
        ]
        assert boss.get(f"{STATION}/ledger/", until="2027-07-13").said["results"] == []


ONCE: dict[str, tuple[str, dict[str, Any] | None, Any]] = {
    "price": (
        f"{STATION}/prices/",
        {"good": "full-kit", "unit": "hour", "amount": "27", "valid_from": "2027-08-01"},
        Price,
    ),
    "season": (
        f"{STATION}/seasons/",
        {"name": "August", "first_day": "2027-08-01", "last_day": "2027-08-31"},
        Season,
    ),
    "voucher": ("{party}/vouchers/", {"amount": "20", "method": "cash"}, Voucher),
    "pass": (
        "{party}/passes/",
        {"rider_id": 0, "good": "full-kit", "unit": "card", "first_day": "2027-07-14"},
        Pass,
    ),
    "goods": (
        "{party}/charges/goods/",
        {"goods": [{"good": "harness", "unit": "piece"}]},
        LedgerEntry,
    ),
    "change": (f"{STATION}/takings/change/", {"amount": "50"}, LedgerEntry),
    "close": (f"{STATION}/takings/close/", {"day": "2027-07-14", "cash": "0", "left": "0"}, LedgerEntry),
}


@pytest.mark.parametrize("name", ONCE)
def test_a_request_sent_again_under_its_key_counts_once(shop: Shop, boss: Api, party: str, name: str) -> None:
    place, body, kind = ONCE[name]
    if body and "rider_id" in body:
        body = {**body, "rider_id": shop.cast.wren.pk}
    key, place = uuid4(), place.format(party=party)

    first = boss.post(place, body, once=key)
    rows = kind.objects.count()
    again = boss.post(place, body, once=key)

    assert (first.status, again.status) == (201, 201), again.said
    assert again.said == first.said
    assert kind.objects.count() == rows


def test_the_account_is_found_by_the_booking(shop: Shop, boss: Api, party: str) -> None:
    shop.charge()

    said = boss.get(f"/bookings/{shop.outing.booking_id}/account/").said

    assert said == boss.get(f"{party}/account/").said
    assert said["balance"]["amount"] == "50.00"


def test_own_kit_is_stored_charged_and_fetched_once(boss: Api, party: str) -> None:
    body = {"good": "store", "unit": "week", "count": 2, "first_day": "2027-07-14", "what": "Board, rack 4"}
    stored = boss.post(f"{party}/stored/", body).said

    assert (stored["last_day"], stored["fetched_at"]) == ("2027-07-27", None)
    assert boss.get(f"{STATION}/stored/").said == [stored]
    assert amounts(boss.get(f"{party}/account/"), "balance") == ("50.00",)
    assert boss.post(f"/stored/{stored['id']}/fetch/").said["fetched_at"] is not None
    assert boss.post(f"/stored/{stored['id']}/fetch/").status == 409
    assert boss.get(f"{STATION}/stored/").said == []


def test_the_rule_for_calling_off_is_set_and_the_old_one_stays(boss: Api) -> None:
    for share in (50, 80):
        rule = {"free_hours": 24, "share_pct": share, "missed_pct": 100}
        assert boss.post(f"{STATION}/cancel-rules/", rule).status == 201

    assert [row["share_pct"] for row in boss.get(f"{STATION}/cancel-rules/").said] == [80, 50]
    off = {"free_hours": 24, "share_pct": 101, "missed_pct": 100}
    assert list(boss.post(f"{STATION}/cancel-rules/", off).blamed) == ["/share_pct"]
