"""Money: the decimals of each currency, exact amounts, and the named rounding."""

import decimal
from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rentals.lib.money import CURRENCIES, LARGEST, Money, half_up, money
from rentals.lib.show import money as shown
from rigging.units import BadValue
from tests.rigging.reference import rows

FUNDS_AND_UNITS = frozenset(["BOV", "CHE", "CHW", "CLF", "COU", "MXV", "USN", "UYI", "UYW"])
"""Codes of ISO 4217 that are funds or units of account: no till holds them."""

minor_units = st.integers(-LARGEST // 10, LARGEST // 10)
currencies = st.sampled_from(sorted(CURRENCIES))


def test_each_currency_has_the_decimals_of_iso_4217() -> None:
    """ISO 4217, list one, as kept in `fixtures/reference/iso_4217.csv`."""
    published = {row["code"]: row["minor_units"] for row in rows("iso_4217")}
    money_of_a_till = {
        code: int(digits)
        for code, digits in published.items()
        if digits != "-" and code not in FUNDS_AND_UNITS
    }

    assert money_of_a_till == CURRENCIES


@pytest.mark.parametrize(
    ("amount", "currency", "minor"),
    [("12.50", "EUR", 1250), ("1250", "JPY", 1250), ("1.250", "KWD", 1250), ("-0.01", "EUR", -1)],
    ids=lambda value: str(value),
)
def test_an_amount_is_kept_in_minor_units(amount: str, currency: str, minor: int) -> None:
    """Decimals by ISO 4217: euro 2, yen 0, Kuwaiti dinar 3."""
    kept = money(Decimal(amount), currency)

    assert kept.minor == minor
    assert kept.amount == Decimal(amount)


@pytest.mark.parametrize(
    ("amount", "currency"),
    [("0.001", "EUR"), ("0.5", "JPY"), ("NaN", "EUR"), ("Infinity", "EUR"), ("1e30", "EUR"), ("1", "EUX")],
)
def test_what_no_till_could_hold_is_refused(amount: str, currency: str) -> None:
    with pytest.raises(BadValue):
        money(Decimal(amount), currency)


def test_two_currencies_are_never_added_or_compared() -> None:
    euro, yen = Money(1, "EUR"), Money(1, "JPY")

    for mix in (lambda: euro + yen, lambda: euro - yen, lambda: euro < yen, lambda: euro <= yen):
        with pytest.raises(BadValue, match="currency"):
            mix()


@given(minor=minor_units, currency=currencies)
def test_an_amount_comes_back_as_it_went_in(minor: int, currency: str) -> None:
    assert money(Money(minor, currency).amount, currency) == Money(minor, currency)


@pytest.mark.parametrize(
    ("number", "whole"),
    [("2.5", 3), ("-2.5", -3), ("3.5", 4), ("2.4999", 2), ("-0.5", -1), ("0.5", 1), ("36512.5", 36513)],
)
def test_a_tie_goes_away_from_zero(number: str, whole: int) -> None:
    """IEEE 754-2008, 4.3.1, roundTiesToAway; the last: EN 16931 example 2, 1460.50 NOK at 25 % is 365.13."""
    assert half_up(Decimal(number)) == whole


@given(st.decimals(-(10**9), 10**9, places=3))
def test_it_rounds_to_a_nearest_whole_as_half_even_does_but_for_ties(number: Decimal) -> None:
    """Half even is the other named rule of IEEE 754-2008, 4.3.1; they differ on ties alone."""
    even = int(number.quantize(Decimal(1), rounding=ROUND_HALF_EVEN))

    assert abs(half_up(number) - number) <= Decimal("0.5")
    assert half_up(number) == even or abs(number - int(number)) == Decimal("0.5")


def test_it_does_not_depend_on_the_context_of_whoever_calls() -> None:
    with decimal.localcontext() as context:
        context.rounding = ROUND_HALF_EVEN

        assert half_up(Decimal("2.5")) == 3


@pytest.mark.parametrize(
    ("minor", "currency", "text"),
    [
        (125000, "EUR", "EUR 1,250.00"),
        (-1250, "EUR", "−EUR 12.50"),
        (1250, "JPY", "JPY 1,250"),
        (0, "KWD", "KWD 0.000"),
    ],
)
def test_it_is_shown_with_its_currency_and_decimals(minor: int, currency: str, text: str) -> None:
    assert shown(Money(minor, currency)) == text.replace("EUR ", "EUR\u00a0").replace(
        "JPY ", "JPY\u00a0"
    ).replace("KWD ", "KWD\u00a0")


def test_nothing_is_shown_as_a_dash() -> None:
    assert shown(None) == "–"
