"""Winds, masses and statures as people type them: SI inside, the unit that they chose at the edge."""

import re
from collections.abc import Mapping
from math import ceil, floor
from typing import Final, Literal

from rentals.lib import show
from rigging.units import FOOT_CM, INCH_CM, KMH_MS, KNOT_MS, POUND_KG
from rigging.wind import beaufort

Quantity = Literal["wind", "mass", "length"]

SI: Final[Mapping[Quantity, Mapping[str, float]]] = {
    "wind": {
        "m/s": 1.0,
        "ms": 1.0,
        "kn": KNOT_MS,
        "kt": KNOT_MS,
        "kts": KNOT_MS,
        "km/h": KMH_MS,
        "kmh": KMH_MS,
    },
    "mass": {"kg": 1.0, "lb": POUND_KG, "lbs": POUND_KG},
    "length": {"cm": 1.0, "m": 100.0, "in": INCH_CM, "ft": FOOT_CM},
}
"""What may stand behind a typed number, in m/s, kg and cm. Exact by definition: see `rigging.units`."""

FORCE_MS: Final = tuple(round(0.836 * force**1.5, 2) for force in range(13))
"""The wind that stands for a typed Beaufort force, in m/s at 10 m: v = 0.836 B^1.5.
Source: the Met Office's fact sheet 6 and WMO's scientific scale, from memory; status: published. Each lies
within its force of `rigging.units.BEAUFORT_MS`."""

INVALID: Final = {"ft-in": "ft and in, such as 5 ft 10", "Bft": "Bft, a whole one"}
DECIMALS: Final = 1

_NUMBER = re.compile(r"(\d{1,6}(?:[.,]\d{1,6})?)\s*([a-z/]*)\.?$")
_FEET = re.compile(
    r"(\d{1,2})\s*(?:ft|feet|foot|['′])?\s*(?:(?<!\d)|(?<=\d)\s)\s*(\d{1,2}(?:[.,]\d)?)\s*(?:in|[\"″])?$"
)


class NotAMeasure(ValueError):
    """Words that name no wind, mass or length."""


def unit_of(quantity: Quantity) -> str:
    """Return the unit in which the person reads and types a quantity."""
    return str(getattr(show.used(), quantity))


def typed(quantity: Quantity, si: float) -> str:
    """Return a value in m/s, kg or cm as it stands in an input, in the reader's unit without its name."""
    unit = unit_of(quantity)
    if unit == "Bft":
        return str(beaufort(si))
    if unit == "ft-in":
        return show.stature(si)
    return show.num(float(si) / SI[quantity][unit], DECIMALS)


def read(quantity: Quantity, words: str) -> float:
    """Return what was typed, in m/s, kg or cm: in the reader's unit, or in the one that was typed with it.

    Raises:
        NotAMeasure: no number, an unknown unit, a broken force, inches alone where feet are meant.
    """
    said = " ".join(words.lower().split())
    if quantity == "length" and (feet := _FEET.match(said)):
        return int(feet[1]) * FOOT_CM + float(feet[2].replace(",", ".")) * INCH_CM
    number = _NUMBER.match(said)
    if number is None:
        raise NotAMeasure(words)
    value, unit = float(number[1].replace(",", ".")), number[2] or unit_of(quantity).lower()
    if unit == "bft" and quantity == "wind":
        return _force(value)
    if unit == "ft-in":
        return _feet(value)
    if unit not in SI[quantity]:
        raise NotAMeasure(words)
    return value * SI[quantity][unit]


def within(quantity: Quantity, low: float, high: float) -> tuple[str, str, str]:
    """Return the least and most that may be typed, and the unit's name, for a sentence."""
    unit = unit_of(quantity)
    if unit == "ft-in":
        least, most = ceil(low / INCH_CM - TINY), floor(high / INCH_CM + TINY)
        return _inches(least), _inches(most), "in"
    if unit == "Bft":
        inside = [force for force, wind_ms in enumerate(FORCE_MS) if low <= wind_ms <= high]
        return str(inside[0]), str(inside[-1]), unit
    factor = SI[quantity][unit]
    if factor == 1:
        return f"{low:g}", f"{high:g}", unit
    return f"{ceil(low / factor - TINY)}", f"{floor(high / factor + TINY)}", unit


TINY: Final = 1e-6
"""Forgives the last digits of a division, so that 80 kn in m/s is 80 kn again."""


def _inches(inches: int) -> str:
    feet, rest = divmod(inches, show.INCHES_PER_FOOT)
    return f"{feet} ft {rest}"


def _force(value: float) -> float:
    if value != int(value) or value >= len(FORCE_MS):
        raise NotAMeasure(f"{value:g} Bft")
    return float(FORCE_MS[int(value)])


def _feet(value: float) -> float:
    """Read a bare number as feet only where it can be nothing else: 5.10 might mean either."""
    if value != int(value) or value >= show.INCHES_PER_FOOT:
        raise NotAMeasure(f"{value:g} ft")
    return value * FOOT_CM
