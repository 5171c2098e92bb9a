"""One door to all readers: content of a known or unknown kind in, what it says out."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Final

from rentals.weather.formats import anemometer, aviation, locationforecast, ndbc
from rentals.weather.formats.anemometer import SpeedUnit
from rentals.weather.formats.kind import Kind, sniff
from rentals.weather.formats.reading import Forecast, Readings

STANDARD_HEIGHT_M: Final = 10.0
"""Height of wind masts by WMO-No. 8, in m; no file says its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What a file does not say about itself: around when, in which zone, how high, in which unit."""

    now: datetime
    zone: tzinfo
    height_m: float = STANDARD_HEIGHT_M
    unit: SpeedUnit = "ms"


Read = Callable[[bytes, Given], Forecast | Readings]

_READERS: Final[dict[Kind, Read]] = {
    Kind.LOCATIONFORECAST: lambda content, given: locationforecast.parse(content),
    Kind.TAF: lambda content, given: aviation.parse_taf(content, reference=given.now),
    Kind.METAR: lambda content, given: aviation.parse_metar(content, reference=given.now),
    Kind.STDMET: lambda content, given: ndbc.parse_stdmet(content, height_m=given.height_m),
    Kind.CWIND: lambda content, given: ndbc.parse_cwind(content, height_m=given.height_m),
    Kind.ANEMOMETER: lambda content, given: anemometer.parse_csv(
        content, zone=given.zone, unit=given.unit, height_m=given.height_m
    ),
}


def read(content: bytes, given: Given) -> tuple[Kind, Forecast | Readings]:
    """Return what a file is and says.

    Args:
        content: the file.
        given: what it does not say about itself.

    Raises:
        Unreadable: it is of no kind known, or broken; the sentence says what to do.
    """
    kind = sniff(content)
    return kind, _READERS[kind](content, given)
