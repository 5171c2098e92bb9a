"""Units at the edge: exact conversions, and the refusal of numbers outside their range."""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

KNOT_MS: Final = 1852 / 3600
KMH_MS: Final = 1000 / 3600
POUND_KG: Final = 0.45359237
INCH_CM: Final = 2.54
FOOT_CM: Final = 30.48
"""Exact by definition: international knot (1929), pound and yard (1959)."""


@dataclass(frozen=True)
class BadValue(ValueError):  # noqa: N818 - it is the value that is bad; the type already says Error
    """A number or word that the trade's formulas refuse, named so that a form can point at the field."""

    name: str
    value: object
    unit: str
    allowed: str

    def __str__(self) -> str:
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.name} is {self.value}{unit}; it must be {self.allowed}{unit}"


def in_range(name: str, value: float, unit: str, low: float, high: float) -> float:
    """Return `value` when it is a finite number within [low, high].

    Raises:
        BadValue: for NaN, infinities, anything that is not a number, and numbers outside.
    """
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = math.nan
    if not (low <= number <= high):
        raise BadValue(name, value, unit, f"between {low:g} and {high:g}")
    return number
