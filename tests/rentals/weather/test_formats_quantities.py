import math

import pint
import pytest

from rentals.weather.formats.quantities import (
    AIR_TEMPERATURE,
    DIRECTION,
    GUST,
    HUMIDITY,
    MEAN,
    PRESSURE,
    Quantity,
    decoded,
    from_degrees,
    number,
    quoted,
)
from rentals.weather.formats.reading import Unreadable

UNITS: pint.UnitRegistry[float] = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("quantity", "value", "unit", "pint_unit", "pint_target"),
    [
        (MEAN, 7.3, "m/s", "m/s", "m/s"),
        (MEAN, 36.0, "km/h", "km/hour", "m/s"),
        (MEAN, 20, "kn", "knot", "m/s"),
        (GUST, 31, "knots", "knot", "m/s"),
        (MEAN, 12.5, "mph", "mile/hour", "m/s"),
        (AIR_TEMPERATURE, 68, "fahrenheit", "degF", "degC"),
        (AIR_TEMPERATURE, 283.15, "K", "kelvin", "degC"),
        (AIR_TEMPERATURE, -4.5, "celsius", "degC", "degC"),
        (PRESSURE, 101325, "Pa", "pascal", "hPa"),
        (PRESSURE, 29.92, "inHg", "inHg", "hPa"),
        (PRESSURE, 101.3, "kPa", "kPa", "hPa"),
    ],
)
def test_it_converts_as_the_pint_library_does(
    quantity: Quantity, value: float, unit: str, pint_unit: str, pint_target: str
) -> None:
    expected = UNITS.Quantity(value, pint_unit).to(pint_target).magnitude

    assert quantity.read(value, unit) == pytest.approx(expected, rel=1e-6, abs=1e-9)


def test_it_takes_humidity_in_percent_or_as_a_fraction() -> None:
    assert HUMIDITY.read(81.3, "%") == pytest.approx(0.813)
    assert HUMIDITY.read(0.813, "1") == 0.813


def test_it_says_north_as_0_degrees_however_the_file_says_it() -> None:
    assert from_degrees(360) == from_degrees(0) == 0
    assert from_degrees(359.9) == 359.9


@pytest.mark.parametrize(
    "value",
    [math.nan, math.inf, -math.inf, -0.1, 76, 10**400, True, "7", None, [7]],
    ids=["nan", "inf", "minus-inf", "negative", "over", "huge", "bool", "text", "none", "list"],
)
def test_it_refuses_what_is_no_mean_wind(value: object) -> None:
    with pytest.raises(Unreadable, match="mean wind"):
        MEAN.read(value, "m/s")


def test_it_refuses_a_direction_beyond_the_circle() -> None:
    with pytest.raises(Unreadable, match="between 0 and 360 degrees"):
        DIRECTION.read(361, "degrees")


def test_it_names_an_unknown_unit_and_the_one_to_use() -> None:
    with pytest.raises(Unreadable, match="'furlongs' of the mean wind is not known here; export it in m/s"):
        MEAN.read(5, "furlongs")


@pytest.mark.parametrize(("text", "value"), [("4", 4), ("4.50", 4.5), (".5", 0.5), ("-3", -3), ("+2.0", 2)])
def test_it_reads_plain_decimal_numbers(text: str, value: float) -> None:
    assert number(text, "gust") == value


@pytest.mark.parametrize("text", ["", "nan", "inf", "1e3", "1_000", "4,5", "٤", "0x10", "4 5"])
def test_it_refuses_numbers_no_instrument_writes(text: str) -> None:
    with pytest.raises(Unreadable, match="is not a number"):
        number(text, "gust")


def test_it_drops_a_byte_order_mark() -> None:
    assert decoded("\ufefftime,mean".encode()) == decoded("\ufefftime,mean") == "time,mean"


def test_it_refuses_bytes_that_are_not_utf_8() -> None:
    with pytest.raises(Unreadable, match="save it as UTF-8"):
        decoded("Wind in Böen".encode("latin-1"))


def test_it_quotes_a_value_on_one_short_plain_line() -> None:
    shown = quoted("a\nb\x00\ud800" * 100)

    assert len(shown) == 40
    assert shown.isascii()
    assert shown.isprintable()
