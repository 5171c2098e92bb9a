"""Exposure: how hard an hour of wind wears kit, and how long it lay rigged in daylight."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from functools import lru_cache
from typing import Final

from rigging import sun
from rigging.reason import COMMON_PRACTICE, POLICY, Input, Reason
from rigging.units import BadValue, in_range, knots

REFERENCE_MS: Final = 7.5
"""Mean wind at 10 m in which an hour counts as an hour: middle of a planing day. Status: policy."""

LEAST_WEIGHT: Final = 0.5
MOST_WEIGHT: Final = 2.0
"""Bounds of the weight: kit is dragged and dropped in light wind too, and riders change down in strong.
Status: policy; common practice, no source."""

FASTEST_MS: Final = 75.0
LONGEST_RIGGED_DAYS: Final = 400.0


@dataclass(frozen=True, slots=True)
class Weight:
    """What an hour on the water counts for, and why."""

    value: float
    reason: Reason


def wind_weight(mean_ms: float | None) -> Weight:
    """Return what an hour in a mean wind at 10 m [m/s] counts for; 1 where the wind is not known.

    What a rider can hold against is bounded by body weight, so smaller sails keep the load alike; what rises
    is the number of load cycles, gusts, falls and waves, taken as proportional to the speed.

    Raises:
        BadValue: for a wind that is negative or no number.

    Source: proportion to speed is policy; common practice, no source.
    """
    rule = f"wind over {REFERENCE_MS:g} m/s, kept within {LEAST_WEIGHT:g} and {MOST_WEIGHT:g}"
    source = f"{COMMON_PRACTICE}; {POLICY}"
    if mean_ms is None:
        return Weight(1.0, Reason("No wind is known, so an hour counts as an hour.", rule, source))
    wind = in_range("mean_ms", mean_ms, "m/s", 0, FASTEST_MS)
    value = min(max(wind / REFERENCE_MS, LEAST_WEIGHT), MOST_WEIGHT)
    text = f"In {knots(wind):.0f} kn an hour counts as {value:.2f} hours."
    return Weight(value, Reason(text, rule, source, (Input("mean wind", wind, "m/s"),)))


@dataclass(frozen=True, slots=True)
class SunSlice:
    """Seconds between sunrise and sunset of one local day that fall into a span."""

    day: date
    seconds: float


def sun_slices(
    start: datetime, end: datetime, latitude_deg: float, longitude_deg: float, zone: tzinfo
) -> tuple[SunSlice, ...]:
    """Return the daylight in a span, day by day; days without any are left out.

    Daylight is what film and cloth are exposed to at most: clouds and shade are not reckoned.

    Args:
        start, end: aware; the span in which a rig stood built.
        latitude_deg, longitude_deg: of the beach [deg].
        zone: of the station; its calendar names the days.

    Raises:
        BadValue: for naive times, an end before the start, or a span over 400 days.

    Source: sunrise and sunset by `rigging.sun` (NOAA).
    """
    if start.utcoffset() is None or end.utcoffset() is None:
        raise BadValue("span", start, "", "given in times with their zone")
    # Within one zone Python subtracts what the clock shows, wrong where it changes.
    start, end = start.astimezone(UTC), end.astimezone(UTC)
    in_range("rigged", (end - start).total_seconds() / 86_400, "days", 0, LONGEST_RIGGED_DAYS)
    slices = (
        SunSlice(day, _daylight_s(day, start, end, latitude_deg, longitude_deg, zone))
        for day in _days(start.astimezone(zone).date(), end.astimezone(zone).date())
    )
    return tuple(each for each in slices if each.seconds > 0)


def _days(first: date, last: date) -> Iterator[date]:
    """Local days that may hold daylight of a span; one before, since a polar sunset is after midnight."""
    day = first - timedelta(days=1)
    while day <= last:
        yield day
        day += timedelta(days=1)


def _daylight_s(
    day: date, start: datetime, end: datetime, latitude_deg: float, longitude_deg: float, zone: tzinfo
) -> float:
    span = _light(day, latitude_deg, longitude_deg, zone)
    if span is None:
        return 0.0
    return max((min(span[1], end) - max(span[0], start)).total_seconds(), 0.0)


# The rigs of a beach share its days.
@lru_cache(maxsize=1024)
def _light(
    day: date, latitude_deg: float, longitude_deg: float, zone: tzinfo
) -> tuple[datetime, datetime] | None:
    """Sunrise and sunset in UTC, midnight where a day has none of its own; None in the polar night."""
    times = sun.sun_times(day, latitude_deg, longitude_deg, zone)
    if times.polar is sun.Polar.NIGHT:
        return None
    following = day + timedelta(days=1)
    rise = times.sunrise or datetime(day.year, day.month, day.day, tzinfo=zone)
    sets = times.sunset or datetime(following.year, following.month, following.day, tzinfo=zone)
    return rise.astimezone(UTC), sets.astimezone(UTC)
