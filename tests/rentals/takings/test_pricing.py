"""Prices by time, the late fee and the tax within a price: rules of the desk, and what must always hold."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rentals.lib.money import Money
from rentals.takings.mapping.pricing import Tariff, by_time, late_fee, tax_reason, tax_within
from rigging.units import BadValue
from tests.rentals.takings.shop import eur

TARIFF = Tariff(hour=eur("25"), half_day=eur("60"), day=eur("85"), hour_step_min=30, half_day_min=240)

COSTS = [
    # minutes, cost; common practice, no source
    (1, "12.50"),
    (30, "12.50"),
    (31, "25.00"),
    (60, "25.00"),
    (61, "37.50"),
    (120, "50.00"),
    (150, "60.00"),
    (240, "60.00"),
    (241, "72.50"),
    (300, "85.00"),
    (720, "85.00"),
]


@pytest.mark.parametrize(("minutes", "cost"), COSTS)
def test_a_time_costs_the_cheapest_way_to_pay_for_it(minutes: int, cost: str) -> None:
    priced = by_time(minutes, TARIFF)

    assert priced is not None
    assert priced.amount == eur(cost)
    assert str(eur(cost)) in priced.reason.text


def test_without_a_price_by_time_it_is_not_sold_so() -> None:
    assert by_time(60, Tariff(hour_step_min=30, half_day_min=240)) is None


@pytest.mark.parametrize("minutes", [-1, 24 * 60 + 1, float("nan"), float("inf")])
def test_a_length_that_cannot_be_is_refused(minutes: float) -> None:
    with pytest.raises(BadValue, match="length"):
        by_time(minutes, TARIFF)


amounts = st.integers(0, 100_000).map(lambda minor: Money(minor, "EUR"))
tariffs = st.builds(
    Tariff,
    hour=amounts,
    half_day=st.none() | amounts,
    day=st.none() | amounts,
    hour_step_min=st.sampled_from([5, 15, 30, 60]),
    half_day_min=st.integers(60, 720),
)


@given(tariff=tariffs, less=st.integers(0, 700), more=st.integers(0, 700))
def test_more_time_never_costs_less(tariff: Tariff, less: int, more: int) -> None:
    short, long = by_time(less, tariff), by_time(less + more, tariff)

    assert short is not None
    assert long is not None
    assert short.amount <= long.amount


@given(tariff=tariffs, minutes=st.integers(0, 1400))
def test_nobody_pays_more_than_by_the_day(tariff: Tariff, minutes: int) -> None:
    priced = by_time(minutes, tariff)

    assert priced is not None
    assert tariff.day is None or priced.amount <= tariff.day


LATE = [
    # minutes late, fee: ten minutes free, then 5.00 for each started quarter, at most 40.00
    (0, None),
    (10, None),
    (11, "5.00"),
    (25, "5.00"),
    (26, "10.00"),
    (600, "40.00"),
]


@pytest.mark.parametrize(("late", "fee"), LATE)
def test_coming_back_late_costs_started_steps_after_the_grace(late: int, fee: str | None) -> None:
    found = late_fee(late, grace_min=10, step_min=15, step_fee=eur("5"), most=eur("40"))

    assert (found.amount if found else None) == (eur(fee) if fee else None)


def test_a_station_without_a_late_fee_takes_none() -> None:
    assert late_fee(90, grace_min=10, step_min=15, step_fee=eur("0"), most=eur("0")) is None


PUBLISHED = [
    # price with tax, rate, tax within
    # EN 16931 test suite, ubl/examples/ubl-tc434-example2.xml of ConnectingEurope/eInvoicing-EN16931:
    # 1460.50 NOK at 25 % is 365.125, given as 365.13; 1.00 NOK at 15 % is 0.15.
    ("1825.63", "25", "365.13"),
    ("1.15", "15", "0.15"),
    # itsrelative.co.uk, VAT fraction, 2014-06-11: 60 at 20 % holds 10 (a sixth), 80 at 5 % holds 3.81.
    ("60.00", "20", "10.00"),
    ("80.00", "5", "3.81"),
    # bookkeepers.org.uk forum 85461: of 235 at 17.5 % 35 (7/47), of 240 at 20 % 40, of 210 at 5 % 10.
    ("235.00", "17.5", "35.00"),
    ("240.00", "20", "40.00"),
    ("210.00", "5", "10.00"),
    ("12.34", "0", "0.00"),
]


@pytest.mark.parametrize(("gross", "pct", "tax"), PUBLISHED)
def test_the_tax_within_a_price_is_as_published(gross: str, pct: str, tax: str) -> None:
    assert tax_within(eur(gross), Decimal(pct)) == eur(tax)
    assert str(eur(tax)) in tax_reason(eur(gross), Decimal(pct)).text


@given(net=st.integers(0, 10**8), pct=st.decimals(0, 99, places=2))
def test_tax_laid_on_a_net_price_is_found_within_the_gross_one(net: int, pct: Decimal) -> None:
    """The forward rule of EN 16931 (BR-CO-17), half up, comes back whatever the rate below 100 %."""
    tax = int((Decimal(net) * pct / 100 + Decimal("0.5")).to_integral_value(rounding="ROUND_FLOOR"))

    assert tax_within(Money(net + tax, "EUR"), pct) == Money(tax, "EUR")


@given(gross=st.integers(0, 10**8), pct=st.decimals(0, 99, places=2))
def test_what_is_taken_back_takes_its_tax_back_exactly(gross: int, pct: Decimal) -> None:
    assert tax_within(Money(-gross, "EUR"), pct) == -tax_within(Money(gross, "EUR"), pct)
