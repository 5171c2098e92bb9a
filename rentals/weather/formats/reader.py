"""One door to all readers: content of a known or unknown kind in, what it says out."""

from collections.abc import Callable
from datetime import datetime, tzinfo
from typing import Final

from rentals.weather.formats import anemometer, aviation, locationforecast, ndbc
from rentals.weather.formats.kind import Kind, sniff
from rentals.weather.formats.reading import Forecast, Readings

STAFF_HEIGHT_M: Final = 10.0
"""Height of an instrument whose file does not say, in m: the standard for wind masts (WMO-No. 8)."""

Read = Callable[[bytes, datetime, tzinfo], Forecast | Readings]

_READERS: Final[dict[Kind, Read]] = {
    Kind.LOCATIONFORECAST: lambda content, now, zone: locationforecast.parse(content),
    Kind.TAF: lambda content, now, zone: aviation.parse_taf(content, reference=now),
    Kind.METAR: lambda content, now, zone: aviation.parse_metar(content, reference=now),
    Kind.STDMET: lambda content, now, zone: ndbc.parse_stdmet(content, height_m=STAFF_HEIGHT_M),
    Kind.CWIND: lambda content, now, zone: ndbc.parse_cwind(content, height_m=STAFF_HEIGHT_M),
    Kind.ANEMOMETER: lambda content, now, zone: anemometer.parse_csv(
        content, zone=zone, unit="ms", height_m=STAFF_HEIGHT_M
    ),
}


def read(content: bytes, *, now: datetime, zone: tzinfo) -> tuple[Kind, Forecast | Readings]:
    """Return what a file is and says.

    Args:
        content: the file.
        now: the moment around which dates without month and year are placed.
        zone: of wall-clock times without offset.

    Raises:
        Unreadable: it is of no kind known, or broken; the sentence says what to do.
    """
    kind = sniff(content)
    return kind, _READERS[kind](content, now, zone)
