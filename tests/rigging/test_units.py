"""Units: exact definitions, the general-purpose unit library, and what the edge refuses."""

import contextlib
from collections.abc import Callable, Iterator
from decimal import Decimal

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging import units

PINT: pint.UnitRegistry[float] = pint.UnitRegistry()


@pytest.mark.parametrize("unit", [unit for unit in units.TO_SI if unit != "kn"])
def test_it_agrees_with_the_unit_library_on_every_unit(unit: str) -> None:
    # pint 0.24, https://pint.readthedocs.io
    peer = PINT.Quantity(17.3, unit).to_base_units().magnitude

    assert units.to_si("number", 17.3, unit) == pytest.approx(peer, rel=1e-12)


def test_it_agrees_with_the_unit_library_on_the_knot() -> None:
    assert units.from_knots(1) == pytest.approx(PINT.Quantity(1, "knot").to("m/s").magnitude, rel=1e-12)


@pytest.mark.parametrize(
    ("function", "given_", "expected"),
    [
        # International definitions of 1929 (knot) and 1959 (pound, yard), exact.
        pytest.param(units.from_knots, 3600, 1852, id="knot"),
        pytest.param(units.from_kmh, 36, 10, id="kmh"),
        pytest.param(units.from_pounds, 100, 45.359237, id="pound"),
    ],
)
def test_it_keeps_the_defined_factor(
    function: Callable[[float], float], given_: float, expected: float
) -> None:
    assert function(given_) == pytest.approx(expected, rel=1e-15)


@given(value=st.floats(0, 1e5))
def test_it_returns_to_where_it_came_from(value: float) -> None:
    pairs = [
        (units.knots, units.from_knots),
        (units.kmh, units.from_kmh),
        (units.pounds, units.from_pounds),
    ]

    assert [back(there(value)) for there, back in pairs] == pytest.approx([value] * 3, rel=1e-12)


@given(cm=st.floats(0, 1e4))
def test_it_splits_a_length_into_whole_feet_and_less_than_twelve_inches(cm: float) -> None:
    feet, inches = units.feet_inches(cm)

    assert 0 <= inches < 12
    assert units.from_feet_inches(feet, inches) == pytest.approx(cm, abs=1e-9)


@pytest.mark.parametrize(
    "value",
    [float("nan"), float("inf"), -1.0, 161.0, "75", None, True, [75.0], 1j, 10**400, Decimal("sNaN")],
    ids=repr,
)
def test_it_refuses_what_is_no_number_in_range(value: float) -> None:
    with pytest.raises(units.BadValue, match=r"^mass_kg is .* between 20 and 160 kg$"):
        units.in_range("mass_kg", value, "kg", 20, 160)


def test_it_takes_yes_for_no_number() -> None:
    with pytest.raises(units.BadValue, match="cams"):
        units.in_range("cams", True, "cams", 0, 8)


@pytest.mark.parametrize("value", [20, 160.0, Decimal("75.5"), np.float64(75), np.int64(75)], ids=repr)
def test_it_accepts_every_kind_of_number_in_range(value: float) -> None:
    assert units.in_range("mass_kg", value, "kg", 20, 160) == float(value)


@pytest.mark.parametrize(
    "values",
    [[], [50.0, float("nan")], [50.0, 200.0], ["fifty"], [[50.0], [50.0, 60.0]], None, [50.0, None], [True]],
    ids=repr,
)
def test_it_refuses_an_array_with_one_bad_element(values: list[float]) -> None:
    with pytest.raises(units.BadValue, match="mass_kg"):
        units.array_in_range("mass_kg", values, "kg", 20, 160)


def test_it_names_the_first_bad_element_of_an_array() -> None:
    with pytest.raises(units.BadValue) as caught:
        units.array_in_range("mass_kg", [50.0, -3.0, 400.0], "kg", 20, 160)

    assert caught.value.value == -3.0


def test_it_refuses_an_unknown_unit_with_the_units_it_knows() -> None:
    with pytest.raises(units.BadValue, match=r"unit of wind is furlong; it must be one of m/s, kn"):
        units.to_si("wind", 3, "furlong")


def test_it_passes_a_refusal_through_a_context_manager() -> None:
    # contextlib sets __traceback__ on what it re-raises, which an immutable exception would not allow.
    @contextlib.contextmanager
    def transaction() -> Iterator[None]:
        yield

    with pytest.raises(units.BadValue), transaction():
        raise units.BadValue("mass_kg", 1, "kg", "between 20 and 160")
