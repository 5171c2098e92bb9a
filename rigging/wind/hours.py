"""Hours of wind and the slot they make: a mixture that says what is missing and invents nothing."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Final

from rigging.reason import Input, Reason
from rigging.units import BadValue, keep_in_range, keep_whole, knots
from rigging.wind.air import (
    BEACH_FACTOR,
    FASTEST_MS,
    FORECAST_HEIGHT_M,
    GUST_PERIODS_S,
    SEA_ROUGHNESS_M,
    SHORE_SECTOR_DEG,
    STANDARD_DENSITY,
    STANDARD_HPA,
    USUAL_HUMIDITY,
    Exposure,
    Shore,
    air_density,
    gust_ratio,
    shore,
    speed_at_height,
)

PEAK_SIGMAS: Final = 3.0  # a reported gust is the 3-sigma wind of its period; policy
CALM_MS: Final = 0.1  # m/s; a lognormal has no zero, so calm counts as this; policy
WIDEST_LN_SD: Final = 1.0  # ln; spread inside a period is never taken as more; policy
FORECAST_LN_SD: Final = 0.15  # ln; error of an hourly forecast; policy
LONGEST_SLOT_MIN: Final = 24 * 60.0  # min; a slot is part of one day; policy
STEADIEST_OPPOSED: Final = 1e-6  # share of the speed left when directions cancel; policy


@dataclass(frozen=True, slots=True, kw_only=True)
class Hour:
    """A period of wind at 10 m: a forecast hour, or what an anemometer measured, brought to 10 m.

    Holds from `start` (kept in UTC) for `minutes`. Speeds in m/s, `from_deg` is where it blows from,
    `relative_humidity` a share. `ln_sd` is the forecast's error as a spread of ln speed. A gust below
    its mean counts as the mean.

    Raises:
        BadValue: for a naive start, or a number outside its range.
    """

    start: datetime
    minutes: int = 60
    mean_ms: float
    gust_ms: float | None = None
    from_deg: float | None = None
    temperature_c: float | None = None
    pressure_hpa: float | None = None
    relative_humidity: float | None = None
    source: str = ""
    ln_sd: float = FORECAST_LN_SD

    def __post_init__(self) -> None:
        # Arithmetic within one zone ignores its clock changes; in UTC there are none.
        object.__setattr__(self, "start", aware("start", self.start))
        keep_whole(self, "minutes", "min", 1, 24 * 60)
        keep_in_range(self, "mean_ms", "m/s", 0, FASTEST_MS)
        keep_in_range(self, "ln_sd", "", 0, 2)
        for name, unit, low, high in _OPTIONAL_RANGES:
            if getattr(self, name) is not None:
                keep_in_range(self, name, unit, low, high)

    @property
    def end(self) -> datetime:
        """When the period ends."""
        return self.start + timedelta(minutes=self.minutes)


_OPTIONAL_RANGES: Final = (
    ("gust_ms", "m/s", 0, FASTEST_MS),
    ("from_deg", "deg", 0, 360),
    ("temperature_c", "C", -60, 60),
    ("pressure_hpa", "hPa", 500, 1100),
    ("relative_humidity", "", 0, 1),
)


_FIRST, _LAST = 1900, 2200


def aware(name: str, moment: datetime) -> datetime:
    """Return `moment` in UTC when it is a time with its zone; raises BadValue otherwise."""
    known = isinstance(moment, datetime) and _FIRST <= moment.year <= _LAST
    if not known or moment.utcoffset() is None:
        raise BadValue(name, moment, "", f"a time with its zone between {_FIRST} and {_LAST}")
    return moment.astimezone(UTC)


def at_ten_metres(hour: Hour, height_m: float, roughness_m: float = SEA_ROUGHNESS_M) -> Hour:
    """Return an hour measured at `height_m` as it would be at 10 m; raises BadValue."""

    def lift(speed: float) -> float:
        return speed_at_height(speed, height_m, FORECAST_HEIGHT_M, roughness_m)

    gust = None if hour.gust_ms is None else lift(hour.gust_ms)
    return replace(hour, mean_ms=lift(hour.mean_ms), gust_ms=gust)


@dataclass(frozen=True, slots=True)
class Part:
    """One hour's share of a slot: its weight (all sum to 1), and its 10 m wind as a lognormal.

    `ln_mean` and `ln_sd` are the parameters of ln speed, gustiness and forecast error together;
    `forecast_ln_sd` is the error alone. The lognormal's mean is `mean_ms`.
    """

    weight: float
    mean_ms: float
    gust_ms: float
    from_deg: float | None
    ln_mean: float
    ln_sd: float
    forecast_ln_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SlotWind:
    """The 10 m wind over a slot, as the mixture of its parts; what no hour covers is named in `missing`.

    `mean_ms` is the mean, `gust_ms` the strongest hour's gust, `lull_ms` the weakest hour's lull,
    `from_deg` the direction of the mean vector (None when unknown or evenly opposed).
    `gust_assumed` says that at least one gust was estimated from the mean.
    """

    mean_ms: float
    gust_ms: float
    lull_ms: float
    from_deg: float | None
    temperature_c: float | None
    density_kg_m3: float
    covered_minutes: float
    slot_minutes: float
    missing: tuple[tuple[datetime, datetime], ...]
    parts: tuple[Part, ...]
    gust_assumed: bool
    reasons: tuple[Reason, ...]

    @property
    def beach_mean_ms(self) -> float:
        """The mean at head height on the beach [m/s]."""
        return self.mean_ms * BEACH_FACTOR

    @property
    def beach_gust_ms(self) -> float:
        """The strongest gust at head height on the beach [m/s]."""
        return self.gust_ms * BEACH_FACTOR

    @property
    def strongest_mean_ms(self) -> float:
        """The strongest hour's mean [m/s]: what a level's limit is held against."""
        return max(part.mean_ms for part in self.parts)

    def shore(self, seaward_deg: float, *, sector_deg: float = SHORE_SECTOR_DEG) -> Shore | None:
        """Return the worst shore angle of the slot (off-shore if any part is), None when unknown."""
        known = [part.from_deg for part in self.parts if part.from_deg is not None]
        found = {shore(deg, seaward_deg, sector_deg=sector_deg) for deg in known}
        return next((kind for kind in _WORST_FIRST if kind in found), None)


_WORST_FIRST: Final = (Shore.OFF_SHORE, Shore.SIDE_SHORE, Shore.ON_SHORE)


def gust_ln_sd(ratio: float) -> float:
    """Return the spread of ln speed inside a period whose gust is `ratio` times its mean.

    The gust is the 3-sigma wind of a lognormal that keeps the mean: ln G = 3 s - s^2 / 2.
    """
    log = min(math.log(max(ratio, 1.0)), PEAK_SIGMAS * WIDEST_LN_SD - WIDEST_LN_SD**2 / 2)
    return PEAK_SIGMAS - math.sqrt(PEAK_SIGMAS**2 - 2 * log)


def slot_wind(
    hours: Sequence[Hour], start: datetime, end: datetime, *, exposure: Exposure = Exposure.OFF_SEA
) -> SlotWind:
    """Return the wind of [start, end) from the hours that cover it.

    Args:
        hours: in any order, with gaps and overlaps; where several cover a moment, the shortest holds,
            then the latest in the sequence.
        start, end: zoned, at most a day apart.
        exposure: what the wind has blown over, for gusts that a source doesn't give.

    Raises:
        BadValue: for naive times, an end not after the start, or when no hour covers any of the slot.

    Notes:
        Each covering hour is a lognormal part weighted by its minutes in the slot. Uncovered minutes
        are named, and the covered ones speak for themselves alone.
    """
    begin_utc, end_utc = aware("start", start), aware("end", end)
    minutes = (end_utc - begin_utc).total_seconds() / 60
    if not 0 < minutes <= LONGEST_SLOT_MIN:
        raise BadValue("end", end, "", f"after {start} and within a day of it")
    pieces = tuple(_pieces(hours, begin_utc, end_utc))
    spans = [(begin, until, hour) for begin, until, hour in pieces if hour is not None]
    if not spans:
        raise BadValue("hours", len(hours), "hours", f"hours that cover {start} to {end}, in")
    covered = sum((until - begin).total_seconds() for begin, until, _ in spans) / 60
    shares = [(until - begin).total_seconds() / 60 / covered for begin, until, _ in spans]
    held = [hour for _, _, hour in spans]
    parts = tuple(_part(share, hour, exposure) for share, hour in zip(shares, held, strict=True))
    assumed = any(hour.gust_ms is None for hour in held)
    density, air_reason = _slot_density(shares, held)
    zone = start.tzinfo
    missing = tuple(
        (begin.astimezone(zone), until.astimezone(zone)) for begin, until, h in pieces if h is None
    )
    mean = sum(part.weight * part.mean_ms for part in parts)
    gust = max(part.gust_ms for part in parts)
    return SlotWind(
        mean_ms=mean,
        gust_ms=gust,
        lull_ms=min(_lull(part) for part in parts),
        from_deg=_mean_direction(parts),
        temperature_c=_average(shares, [hour.temperature_c for hour in held]),
        density_kg_m3=density,
        covered_minutes=covered,
        slot_minutes=minutes,
        missing=missing,
        parts=parts,
        gust_assumed=assumed,
        reasons=(_wind_reason(mean, gust, assumed, held), air_reason, *_gap_reasons(missing)),
    )


def _pieces(
    hours: Sequence[Hour], start: datetime, end: datetime
) -> Iterator[tuple[datetime, datetime, Hour | None]]:
    inside = [hour for hour in hours if hour.start < end and hour.end > start]
    # Later runs come later in the sequence, and the sort is stable.
    inside.reverse()
    finest = sorted(inside, key=lambda hour: hour.minutes)
    edges = {start, end} | {edge for hour in inside for edge in (hour.start, hour.end) if start < edge < end}
    ordered = sorted(edges)
    for begin, until in pairwise(ordered):
        yield begin, until, next((h for h in finest if h.start <= begin and h.end >= until), None)


def gust_of(hour: Hour, exposure: Exposure = Exposure.OFF_SEA) -> float:
    """Return an hour's gust [m/s at 10 m], never below its mean; where none is given, the one to expect.

    Source: `gust_ratio` over the hour's own length.
    """
    mean = max(hour.mean_ms, CALM_MS)
    if hour.gust_ms is not None:
        return max(hour.gust_ms, mean)
    period_s = min(max(hour.minutes * 60.0, GUST_PERIODS_S[0]), GUST_PERIODS_S[-1])
    return min(mean * gust_ratio(period_s, exposure=exposure), FASTEST_MS)


def _part(weight: float, hour: Hour, exposure: Exposure) -> Part:
    mean, gust = max(hour.mean_ms, CALM_MS), gust_of(hour, exposure)
    spread = math.hypot(gust_ln_sd(gust / mean), hour.ln_sd)
    return Part(weight, mean, gust, hour.from_deg, math.log(mean) - spread**2 / 2, spread, hour.ln_sd)


def _lull(part: Part) -> float:
    inside = gust_ln_sd(part.gust_ms / part.mean_ms)
    return part.mean_ms * math.exp(-(inside**2) / 2 - PEAK_SIGMAS * inside)


def _average(shares: Sequence[float], values: Sequence[float | None]) -> float | None:
    known = [(share, value) for share, value in zip(shares, values, strict=True) if value is not None]
    return sum(s * v for s, v in known) / sum(s for s, _ in known) if known else None


def _mean_direction(parts: Sequence[Part]) -> float | None:
    known = [(p.weight * p.mean_ms, math.radians(p.from_deg)) for p in parts if p.from_deg is not None]
    east = sum(size * math.sin(angle) for size, angle in known)
    north = sum(size * math.cos(angle) for size, angle in known)
    if math.hypot(east, north) <= STEADIEST_OPPOSED * sum(size for size, _ in known):
        return None
    return math.degrees(math.atan2(east, north)) % 360


def _slot_density(shares: Sequence[float], hours: Sequence[Hour]) -> tuple[float, Reason]:
    temperature = _average(shares, [hour.temperature_c for hour in hours])
    if temperature is None:
        text = f"No temperature is forecast, so the air counts as {STANDARD_DENSITY} kg/m³."
        return STANDARD_DENSITY, Reason(text, "standard air at sea level", "ISO 2533")
    pressure = _average(shares, [hour.pressure_hpa for hour in hours]) or STANDARD_HPA
    humidity = _average(shares, [hour.relative_humidity for hour in hours])
    humidity = USUAL_HUMIDITY if humidity is None else humidity
    density = air_density(temperature, pressure, humidity)
    inputs = (
        Input("temperature", temperature, "°C"),
        Input("pressure", pressure, "hPa"),
        Input("relative humidity", humidity),
    )
    text = f"Air of {temperature:.0f} °C weighs {density:.3f} kg/m³."
    return density, Reason(text, "moist air as ideal gases", "WMO-No. 8 (Magnus), ISO 2533", inputs)


def _wind_reason(mean: float, gust: float, assumed: bool, hours: Sequence[Hour]) -> Reason:
    sources = ", ".join(dict.fromkeys(hour.source for hour in hours if hour.source)) or "the hours given"
    how = "gusts estimated from the mean" if assumed else "gusts as reported"
    text = (
        f"Wind {knots(mean):.0f} kn, gusts {knots(gust):.0f} kn at 10 m ({how}); "
        f"{knots(mean * BEACH_FACTOR):.0f} kn on the beach."
    )
    rule = "hours weighted by their minutes in the slot; beach wind by the log law"
    source = f"{sources}; WMO/TD-No. 1555" if assumed else sources
    return Reason(text, rule, source, (Input("mean", mean, "m/s"), Input("gust", gust, "m/s")))


def _gap_reasons(missing: Sequence[tuple[datetime, datetime]]) -> Iterator[Reason]:
    for begin, until in missing:
        text = f"No wind is known from {begin:%H:%M} to {until:%H:%M}; the rest of the slot speaks alone."
        yield Reason(text, "missing hours are said, never invented", "the hours given")
