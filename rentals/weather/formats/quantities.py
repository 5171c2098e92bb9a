"""Units at the edge: what files call their units, and the range in which a number is believed."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from rentals.weather.formats.reading import Unreadable
from rigging.units import KMH_MS, KNOT_MS

MPH_MS: Final = 1609.344 / 3600
INHG_HPA: Final = 33.86389
"""Statute mile an hour, exact (1959); conventional inch of mercury, 3386.389 Pa (ISO 80000-4)."""

Scale = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """A quantity with its believed range in `unit`, and the units it may come in.

    `scales` maps a unit as files spell it (lower case) to (offset, factor): SI = (number + offset) * factor.
    """

    word: str
    unit: str
    low: float
    high: float
    scales: Mapping[str, Scale]

    def scale(self, unit: str) -> Scale:
        """The scale of a unit as a file spells it.

        Raises:
            Unreadable: for a unit that is not in the table.
        """
        try:
            return self.scales[unit.strip().lower()]
        except KeyError:
            raise Unreadable(
                f"The unit {quoted(unit)} of the {self.word} is not known here; export it in {self.unit}."
            ) from None

    def read(self, number: object, unit: str) -> float:
        """A number of a file in our unit.

        Raises:
            Unreadable: for anything that is not a finite number in the believed range, or an unknown unit.
        """
        offset, factor = self.scale(unit)
        value = (_finite(number, self.word) + offset) * factor
        if not self.low <= value <= self.high:
            raise Unreadable(
                f"The {self.word} {quoted(number)} {unit} can't be right; "
                f"it must be between {self.low:g} and {self.high:g} {self.unit}."
            )
        return value


def _finite(number: object, word: str) -> float:
    if isinstance(number, bool) or not isinstance(number, int | float):
        raise Unreadable(f"The {word} {quoted(number)} is not a number.")
    try:
        return float(number)
    except OverflowError:
        raise Unreadable(f"The {word} {quoted(number)} is too large to be a number of the weather.") from None


SPEED_SCALES: Final[Mapping[str, Scale]] = {
    **dict.fromkeys(("m/s", "ms", "mps", "m s-1"), (0.0, 1.0)),
    **dict.fromkeys(("km/h", "kmh", "kph"), (0.0, KMH_MS)),
    **dict.fromkeys(("kn", "kt", "kts", "knot", "knots"), (0.0, KNOT_MS)),
    "mph": (0.0, MPH_MS),
}
_TEMPERATURE_SCALES: Final[Mapping[str, Scale]] = {
    **dict.fromkeys(("celsius", "c", "degc", "°c"), (0.0, 1.0)),
    **dict.fromkeys(("fahrenheit", "f", "degf", "°f"), (-32.0, 5 / 9)),
    **dict.fromkeys(("kelvin", "k"), (-273.15, 1.0)),
}

# The ranges are policy: wider than any recorded weather near sea level, narrow enough to catch a wrong unit.
MEAN: Final = Quantity(word="mean wind", unit="m/s", low=0, high=75, scales=SPEED_SCALES)
GUST: Final = Quantity(word="gust", unit="m/s", low=0, high=110, scales=SPEED_SCALES)
AIR_TEMPERATURE: Final = Quantity(
    word="air temperature", unit="celsius", low=-60, high=60, scales=_TEMPERATURE_SCALES
)
WATER_TEMPERATURE: Final = Quantity(
    word="water temperature", unit="celsius", low=-5, high=45, scales=_TEMPERATURE_SCALES
)
PRESSURE: Final = Quantity(
    word="air pressure",
    unit="hPa",
    low=850,
    high=1100,
    scales={
        **dict.fromkeys(("hpa", "mbar", "mb"), (0.0, 1.0)),
        "pa": (0.0, 0.01),
        "kpa": (0.0, 10.0),
        "inhg": (0.0, INHG_HPA),
    },
)
HUMIDITY: Final = Quantity(
    word="relative humidity",
    unit="1",
    low=0,
    high=1,
    scales={**dict.fromkeys(("%", "percent"), (0.0, 0.01)), **dict.fromkeys(("1", "fraction"), (0.0, 1.0))},
)
DIRECTION: Final = Quantity(
    word="wind direction",
    unit="degrees",
    low=0,
    high=360,
    scales=dict.fromkeys(("degrees", "degree", "deg", "degt", "°"), (0.0, 1.0)),
)

FIRST_YEAR: Final = 1970
LAST_YEAR: Final = 2200

_NUMBER: Final = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)", re.ASCII)


def from_degrees(number: object, unit: str = "degrees") -> float:
    """Where the wind comes from, in [0, 360): files say 360 for north.

    Raises:
        Unreadable: as `Quantity.read`.
    """
    return DIRECTION.read(number, unit) % DIRECTION.high


def number(text: str, word: str) -> float:
    """A plain decimal number as people and instruments write it.

    Raises:
        Unreadable: for words, NaN, infinities, exponents and digit groups.
    """
    if not _NUMBER.fullmatch(text):
        raise Unreadable(f"The {word} {quoted(text)} is not a number.")
    return float(text)


def in_believed_years(moment: datetime) -> datetime:
    """An aware moment in UTC.

    Raises:
        Unreadable: for a year no station has weather of.
    """
    if not FIRST_YEAR <= moment.year < LAST_YEAR:
        raise Unreadable(f"The year {moment.year} can't be right; check the date.")
    return moment.astimezone(UTC)


def decoded(text: str | bytes) -> str:
    """Text without a byte order mark.

    Raises:
        Unreadable: for bytes that are not UTF-8.
    """
    if isinstance(text, bytes):
        try:
            text = text.decode("utf-8")
        except UnicodeDecodeError:
            raise Unreadable("This file is not UTF-8 text; save it as UTF-8 and send it again.") from None
    return text.removeprefix("\ufeff")


def quoted(value: object) -> str:
    """A value of a file as it may stand in a sentence: short, on one line, in plain characters."""
    shown = ascii(value)
    return shown if len(shown) <= 40 else f"{shown[:37]}..."


def clock(moment: datetime) -> str:
    """A moment as notes and refusals print it."""
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M} UTC"
