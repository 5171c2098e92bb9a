"""Money for programs: what things cost, and why."""

from typing import Any

import pytest

from rentals.takings.models import Payment
from tests.api.client import Api
from tests.cast import Cast
from tests.rentals.takings.shop import PriceList

HOURS = {"starts_at": "2027-07-14T11:00+01:00", "ends_at": "2027-07-14T13:00+01:00"}


@pytest.fixture
def prices(cast: Cast) -> PriceList:
    """A station with prices."""
    return PriceList(cast)


def test_a_quote_says_amounts_as_text_with_their_currency_and_why(prices: PriceList, api: Api) -> None:
    wanted = [{"kind": "rental", "count": 2, **HOURS}]

    said = api.of(prices.cast.desk).post("/stations/tarrow-lagoon/quotes/", {"wanted": wanted}).said

    (line,) = said["lines"]
    assert said["total"] == {"amount": "100.00", "currency": "EUR"}
    assert (line["each"]["amount"], line["tax"]["amount"], line["tax_pct"]) == ("50.00", "18.70", "23.00")
    assert said["taxes"] == [
        {
            "pct": "23.00",
            "net": {"amount": "81.30", "currency": "EUR"},
            "tax": {"amount": "18.70", "currency": "EUR"},
        }
    ]
    assert all(each["text"] and each["rule"] and each["source"] for each in line["reasons"])


def test_the_price_list_says_what_is_included(prices: PriceList, api: Api) -> None:
    said = api.of(prices.cast.desk).get("/stations/tarrow-lagoon/prices/?day=2027-07-14").said

    kit = next(row for row in said if row["good"] == "full-kit")
    assert kit["included"] == "board, rig, suit and buoyancy aid"
    assert {"unit": "hour", "price": {"amount": "25.00", "currency": "EUR"}} in kit["prices"]
    assert kit["card_hours"] == 10


@pytest.mark.parametrize(
    ("wanted", "pointer"),
    [
        ([{"good": "harness", "unit": "piece", "day": "2027-07-14"}, {"good": "kite"}], "/wanted/1/good"),
        ([{"good": "harness", "unit": "week", "day": "2027-07-14"}], "/wanted/0/unit"),
        ([{"good": "harness", "unit": "fortnight"}], "/wanted/0/unit"),
        ([{"good": "harness", "count": 501}], "/wanted/0/count"),
        (
            [{"kind": "rental", "starts_at": HOURS["ends_at"], "ends_at": HOURS["starts_at"]}],
            "/wanted/0/ends_at",
        ),
    ],
)
def test_what_has_no_price_is_refused_beside_its_field(
    prices: PriceList, api: Api, wanted: list[dict[str, Any]], pointer: str
) -> None:
    answer = api.of(prices.cast.desk).post("/stations/tarrow-lagoon/quotes/", {"wanted": wanted})

    assert answer.status == 422
    assert [error["pointer"] for error in answer.said["errors"]] == [pointer]


class TestAnAccount:
    @pytest.fixture
    def party(self, prices: PriceList) -> str:
        """The address of a party with an outing of two hours."""
        return f"/parties/{prices.cast.booked()[0].booking.party_id}/"

    def test_it_says_what_is_to_come_and_why(self, prices: PriceList, api: Api, party: str) -> None:
        said = api.of(prices.cast.desk).get(f"{party}account/").said

        assert said["to_come"] == {"amount": "50.00", "currency": "EUR"}
        (due,) = said["due"]
        assert (due["purpose"], due["pass_id"]) == ("time", None)
        assert all(each["text"] and each["source"] for each in due["reasons"])

    def test_charged_and_paid_it_is_even(self, prices: PriceList, api: Api, party: str) -> None:
        desk = api.of(prices.cast.desk)
        assert desk.post(f"{party}charges/", None).said["balance"]["amount"] == "50.00"

        payment = desk.post(f"{party}payments/", {"amount": "50.00", "method": "terminal"}).said

        assert (payment["receipt"], payment["amount"]["amount"]) == ("2027-00001", "50.00")
        said = desk.get(f"{party}account/").said
        assert said["balance"]["amount"] == "0.00"
        assert [charge["gross"]["amount"] for charge in said["charges"]] == ["50.00"]

    def test_a_request_sent_again_under_its_key_pays_once(
        self, prices: PriceList, api: Api, party: str
    ) -> None:
        desk, key = api.of(prices.cast.desk), "7d9f1d0e-5b0a-4f0c-9a53-2f8d9d0e1a11"
        five = {"amount": "5.00", "method": "cash"}

        first, again = (desk.post(f"{party}payments/", five, once=key).said for _ in range(2))

        assert first == again
        assert Payment.objects.count() == 1

    @pytest.mark.parametrize(
        ("amount", "pointer"), [("0", "/amount"), ("1.001", "/amount"), ("x", "/amount"), ("-1", "/amount")]
    )
    def test_what_is_no_amount_is_refused_beside_its_field(
        self, prices: PriceList, api: Api, party: str, amount: str, pointer: str
    ) -> None:
        answer = api.of(prices.cast.desk).post(f"{party}payments/", {"amount": amount, "method": "cash"})

        assert answer.status == 422
        assert [error["pointer"] for error in answer.said["errors"]] == [pointer]
