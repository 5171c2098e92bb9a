"""The sun over a station: sunrise, sunset and civil twilight of one local day.

Computed by `astral` (NOAA's equations): the sun's upper limb on the horizon with 34' of refraction
(zenith 90.833 degrees) for rise and set, zenith 96 degrees for civil twilight, the eye at sea level.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from enum import StrEnum
from typing import Final

from astral import Observer
from astral import sun as _astral

from rigging.units import BadValue, in_range

SOURCE: Final = "NOAA solar equations by astral; zenith 90.833 degrees, civil twilight 96 degrees"
RISE_ELEVATION_DEG: Final = -0.833
"""Elevation of the sun's centre at rise and set (34' refraction + 16' radius), published by NOAA."""

_NEIGHBOURS: Final = (timedelta(days=-1), timedelta(0), timedelta(days=1))
_MIDDAY: Final = timedelta(hours=12)


class Polar(StrEnum):
    """A day on which the sun doesn't cross the horizon."""

    DAY = "sun up all day"
    NIGHT = "sun down all day"


@dataclass(frozen=True, slots=True, kw_only=True)
class SunTimes:
    """One local day of the sun, as aware datetimes in the station's zone; None where it doesn't happen.

    `sunset` and `civil_dusk` follow the day's solar noon, so in a northern summer they may fall after
    midnight. `polar` says why sunrise and sunset are missing.
    """

    day: date
    sunrise: datetime | None
    sunset: datetime | None
    civil_dawn: datetime | None
    civil_dusk: datetime | None
    polar: Polar | None = None


def sun_times(day: date, latitude_deg: float, longitude_deg: float, zone: tzinfo) -> SunTimes:
    """Return sunrise, sunset, civil dawn and civil dusk of a local day.

    Args:
        day: the date on the station's own calendar.
        latitude_deg: north positive [deg], -90 to 90.
        longitude_deg: east positive [deg], -180 to 180.
        zone: the station's time zone; UTC would pick another evening for stations far from Greenwich.

    Raises:
        BadValue: for positions outside the globe, days the equations don't cover, and zones that are none.

    Source: NOAA solar calculator equations, by astral.
    """
    if not isinstance(zone, tzinfo):
        raise BadValue("zone", zone, "", "a time zone")
    if not isinstance(day, date):
        raise BadValue("day", day, "", "a date")
    in_range("day", day.year, "", 1901, 2099)
    eye = Observer(
        in_range("latitude_deg", latitude_deg, "deg", -90, 90),
        in_range("longitude_deg", longitude_deg, "deg", -180, 180),
        0.0,
    )
    noon = _solar_noon(eye, day, zone)

    def after(event: Callable[..., datetime]) -> datetime | None:
        return _nearest(event, eye, noon, timedelta(0), _MIDDAY, zone)

    def before(event: Callable[..., datetime]) -> datetime | None:
        return _nearest(event, eye, noon, -_MIDDAY, timedelta(0), zone)

    sunrise, sunset = before(_astral.sunrise), after(_astral.sunset)
    return SunTimes(
        day=day,
        sunrise=sunrise,
        sunset=sunset,
        civil_dawn=before(_astral.dawn),
        civil_dusk=after(_astral.dusk),
        polar=None if sunrise or sunset else _polar(eye, noon),
    )


def _solar_noon(eye: Observer, day: date, zone: tzinfo) -> datetime:
    """Solar noon nearest to twelve o'clock of the local day."""
    twelve = datetime(day.year, day.month, day.day, 12, tzinfo=zone).astimezone(UTC)
    noons = (_astral.noon(eye, day + step, UTC) for step in _NEIGHBOURS)
    return min(noons, key=lambda noon: abs(noon - twelve))


def _nearest(
    event: Callable[..., datetime],
    eye: Observer,
    noon: datetime,
    earliest: timedelta,
    latest: timedelta,
    zone: tzinfo,
) -> datetime | None:
    """The event within the half day beside solar noon, whatever calendar date astral files it under."""
    for step in _NEIGHBOURS:
        try:
            at = event(eye, date=noon.date() + step, tzinfo=UTC)
        except ValueError:  # astral's way to say that the sun doesn't reach this elevation
            continue
        if noon + earliest <= at <= noon + latest:
            return at.astimezone(zone)
    return None


def _polar(eye: Observer, noon: datetime) -> Polar:
    return Polar.DAY if _astral.elevation(eye, noon) > RISE_ELEVATION_DEG else Polar.NIGHT
