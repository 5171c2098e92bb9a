"""Units at the edge: exact conversions, and the refusal of numbers outside their range."""

import math
from collections.abc import Iterable
from datetime import UTC, datetime
from decimal import Decimal
from numbers import Real
from typing import Final, TypeVar, overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
Numbers = TypeVar("Numbers", float, FloatArray)
"""One number or an array of them: what goes in as a number comes out as a number."""

KNOT_MS: Final = 1852 / 3600
KMH_MS: Final = 1000 / 3600
POUND_KG: Final = 0.45359237
INCH_CM: Final = 2.54
FOOT_CM: Final = 30.48
MILE_M: Final = 1609.344
"""Exact by definition: international knot (1929), pound, yard and mile (1959)."""

COMPASS_POINTS: Final = (
    *("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE"),
    *("S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"),
)
POINT_DEG: Final = 360 / len(COMPASS_POINTS)
"""The sixteen points from north round by east, and how far apart they are."""

TO_SI: Final = {
    "m/s": 1.0,
    "kn": KNOT_MS,
    "km/h": KMH_MS,
    "mph": MILE_M / 3600,
    "kg": 1.0,
    "lb": POUND_KG,
    "m": 1.0,
    "cm": 0.01,
    "in": INCH_CM / 100,
    "ft": FOOT_CM / 100,
}
"""Units that staff may type, each as a multiple of its SI unit (m/s, kg, m)."""


BEAUFORT_MS: Final = (0.3, 1.6, 3.4, 5.5, 8.0, 10.8, 13.9, 17.2, 20.8, 24.5, 28.5, 32.7)
"""From which mean wind at 10 m each force begins, 1 to 12, in m/s.
Source: WMO-No. 306, table 1100; status: published."""


class BadValue(ValueError):
    """A number or word that the trade's formulas refuse, named so that a form can point at the field."""

    def __init__(self, name: str, value: object, unit: str, allowed: str) -> None:
        super().__init__(name, value, unit, allowed)
        self.name = name
        self.value = value
        self.unit = unit
        self.allowed = allowed

    def __str__(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.name} is {self.value}{unit}; it must be {self.allowed}{unit}"


def in_range(name: str, value: float | Decimal, unit: str, low: float, high: float) -> float:
    """Return `value` as a float when it is a finite number within [low, high].

    Raises:
        BadValue: for NaN, infinities, anything that is not a number (text and booleans too), and
            numbers outside.
    """
    number = math.nan
    if not isinstance(value, bool) and isinstance(value, Real | Decimal):
        try:
            number = float(value)
        except (OverflowError, ValueError):
            number = math.nan
    if not (low <= number <= high):
        raise BadValue(name, value, unit, f"between {low:g} and {high:g}")
    return number


def keep_in_range(record: object, name: str, unit: str, low: float, high: float) -> None:
    """Check a frozen record's field as it is made, and keep it as a plain float; raises BadValue."""
    object.__setattr__(record, name, in_range(name, getattr(record, name), unit, low, high))


def keep_whole(record: object, name: str, unit: str, low: int, high: int) -> None:
    """The same for a field that counts: a plain int, no fraction."""
    value = getattr(record, name)
    number = in_range(name, value, unit, low, high)
    if not number.is_integer():
        raise BadValue(name, value, unit, f"a whole number between {low:g} and {high:g}")
    object.__setattr__(record, name, int(number))


def array_in_range(name: str, values: ArrayLike, unit: str, low: float, high: float) -> FloatArray:
    """Return `values` as a float array when it is not empty and every element lies within [low, high].

    A scalar comes back as an array of no dimensions.

    Raises:
        BadValue: with the first offending element, or for ragged, empty or non-numeric input.
    """
    try:
        raw = np.asarray(values)
    except ValueError:
        raise BadValue(name, values, unit, "a rectangular array of numbers in") from None
    if raw.dtype.kind not in "fiu" or raw.size == 0:
        raise BadValue(name, values, unit, f"one number or more between {low:g} and {high:g}")
    numbers = raw.astype(np.float64, copy=False)
    inside = (numbers >= low) & (numbers <= high)
    if not inside.all():
        raise BadValue(name, float(numbers[~inside].flat[0]), unit, f"between {low:g} and {high:g}")
    return numbers


@overload
def shaped(values: FloatArray, like: float) -> float: ...
@overload
def shaped(values: FloatArray, like: FloatArray) -> FloatArray: ...
def shaped(values: FloatArray, like: float | FloatArray) -> float | FloatArray:
    """Return `values` as a plain number where `like` is one (and `values` has no dimensions)."""
    return values if np.ndim(values) or isinstance(like, np.ndarray) else float(values)


def one_of(name: str, value: object, allowed: Iterable[str]) -> str:
    """Return `value` when it is one of the `allowed` words; raises BadValue with the words otherwise."""
    words = tuple(allowed)
    if not isinstance(value, str) or value not in words:
        raise BadValue(name, value, "", "one of " + ", ".join(words))
    return value


def aware(name: str, moment: datetime) -> datetime:
    """Return a moment in UTC, where differences are true minutes even when the clocks change.

    Raises:
        BadValue: for anything but a date and time that knows its zone.
    """
    if not isinstance(moment, datetime) or moment.utcoffset() is None:
        raise BadValue(name, moment, "", "a date and time with its zone")
    return moment.astimezone(UTC)


def to_si(name: str, value: float, unit: str) -> float:
    """Return `value` in `unit` as m/s, kg or m; raises BadValue for an unknown unit or no finite number."""
    factor = TO_SI[one_of(f"unit of {name}", unit, TO_SI)]
    return in_range(name, value, unit, -1e9, 1e9) * factor


def knots(ms: float) -> float:
    """Return m/s in knots."""
    return ms / KNOT_MS


def from_knots(kn: float) -> float:
    """Return knots in m/s."""
    return kn * KNOT_MS


def kmh(ms: float) -> float:
    """Return m/s in km/h."""
    return ms / KMH_MS


def from_kmh(kilometres_per_hour: float) -> float:
    """Return km/h in m/s."""
    return kilometres_per_hour * KMH_MS


def pounds(kg: float) -> float:
    """Return kilograms in pounds."""
    return kg / POUND_KG


def from_pounds(lb: float) -> float:
    """Return pounds in kilograms."""
    return lb * POUND_KG


def feet_inches(cm: float) -> tuple[int, float]:
    """Return a length in cm as whole feet and the inches left, the inches within [0, 12)."""
    length = in_range("length", cm, "cm", 0, 1e6)
    feet = math.floor(length / FOOT_CM)
    inches = (length - feet * FOOT_CM) / INCH_CM
    # Rounding in the division can leave a full foot behind.
    return (feet + 1, 0.0) if inches >= FOOT_CM / INCH_CM else (feet, max(inches, 0.0))


def from_feet_inches(feet: float, inches: float = 0.0) -> float:
    """Return feet and inches in cm."""
    return feet * FOOT_CM + inches * INCH_CM
