"""The cloud: a lost rider's drift by particles, its datum, search radius and ellipse.

Signs: east and north positive; a wind's direction is where it blows from, a current's where it sets to.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from math import atan2, ceil, cos, degrees, exp, hypot, log, radians, sin, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rigging.drift.leeway import LEEWAY, MAX_WIND_MS, SOURCE, Drifter, Floats, Leeway, Line, known
from rigging.reason import POLICY, Input, Reason
from rigging.units import BadValue, aware, in_range

SPREAD_WIND_MS: Final = 10.0
"""Wind at which a particle's spread equals the table's standard error [m/s] (Breivik & Allen 2008)."""

JIBES_PER_H: Final = 0.04
"""Probability per hour that a drifting craft changes sides (as used with the published model)."""

MAX_HOURS: Final = 72.0
STEP: Final = timedelta(minutes=1)

WGS84_A_M: Final = 6378137.0
WGS84_E2: Final = 0.00669437999014
"""World Geodetic System 1984: equatorial radius [m] and first eccentricity squared. Published."""

_LEAST_SD_M: Final = 1.0
_RADIUS_95: Final = sqrt(-2 * log(0.05))
"""Radius of a circular normal that holds 95 %, in standard deviations."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LastKnown:
    """Where and when the rider was last seen; `radius_m` holds the true place with 95 % certainty.

    The zone of `at` is the one that sheets and sketches speak in: pass the station's.
    """

    latitude_deg: float
    longitude_deg: float
    at: datetime
    radius_m: float = 100.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WindStep:
    """Wind over a stretch of time: 10 m mean in m/s, direction it blows from in degrees."""

    start: datetime
    minutes: float
    wind10_ms: float
    from_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Current:
    """Surface current as staff enter it: speed in m/s, direction it sets to in degrees."""

    speed_ms: float
    toward_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Doubt about wind and current, as standard deviations per component [m/s]. Station settings."""

    wind_ms: float = 1.0
    current_ms: float = 0.1


DEFAULT_SPREAD: Final = Spread()


@dataclass(frozen=True, slots=True)
class Ellipse:
    """An ellipse about the datum: half axes in m, bearing of the long axis in degrees (0 to 180)."""

    major_m: float
    minor_m: float
    bearing_deg: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drift:
    """Where a drifter most likely is.

    `cloud_m` holds particles as (n, 2) metres east and north of the last known place, `track_m` the mean
    path as (k, 2). `radius_m` about the datum, and the ellipse, hold the share `confidence` of the cloud.
    `assumed` says in words what had to be filled in.
    """

    drifter: Drifter
    last_known: LastKnown
    until: datetime
    confidence: float
    cloud_m: Floats
    track_m: Floats
    datum_m: tuple[float, float]
    latitude_deg: float
    longitude_deg: float
    radius_m: float
    ellipse: Ellipse
    assumed: tuple[str, ...]
    reason: Reason

    @property
    def distance_m(self) -> float:
        """From the last known place to the datum [m]."""
        return hypot(*self.datum_m)

    @property
    def bearing_deg(self) -> float:
        """Bearing from the last known place to the datum [deg]."""
        return degrees(atan2(*self.datum_m)) % 360


def drift(
    drifter: Drifter,
    last_known: LastKnown,
    winds: Sequence[WindStep],
    until: datetime,
    *,
    current: Current | None = None,
    spread: Spread = DEFAULT_SPREAD,
    confidence: float = 0.95,
    particles: int = 10_000,
    seed: int = 1,
) -> Drift:
    """Return the drift of a lost rider, by particles that each keep their own leeway and wind error.

    Args:
        drifter: what drifts.
        last_known: where and when, with its doubt.
        winds: history and forecast in any order; stretches that none covers take the wind before them, and
            `assumed` says so.
        until: the moment to look for, with zone; at most 72 h later.
        current: as entered by staff; None is no current, and `assumed` says so.
        spread: doubt of wind and current.
        confidence: share of the cloud that the search area holds, 0.5 to 0.999.
        particles: 100 to 1,000,000.
        seed: the same seed gives the same cloud.

    Raises:
        BadValue: for bad numbers, datetimes without zone, no winds, or `until` before the last sighting.

    Source: Breivik & Allen 2008: leeway (a + e/20) W + b + e/2 with e drawn once per particle from the
    table's spread (downwind slopes below zero redrawn), half to each side, changing sides at 4 % an hour.
    """
    _check(last_known, winds, until, current, spread, confidence, particles)
    row, rng = LEEWAY[known(drifter)], np.random.default_rng(seed)
    stretches, assumed = _stretches(winds, last_known.at, until)
    if current is None:
        assumed += ("no current entered: taken as none",)
    cloud = rng.normal(0, last_known.radius_m / _RADIUS_95, (particles, 2))
    stream = _stream(current) + rng.normal(0, spread.current_ms, (particles, 2))
    doubt = rng.normal(0, spread.wind_ms, (particles, 2))
    down_e = _downwind_errors(rng, row, particles)
    cross_z = rng.standard_normal(particles)
    right = rng.permutation(particles) < particles // 2
    track = [cloud.mean(axis=0)]
    for seconds, step in stretches:
        share_right, right = _sides(rng, right, seconds)
        velocity = _leeway_vectors(row, _wind_vector(step) + doubt, down_e, cross_z, share_right)
        cloud = cloud + seconds * (velocity + stream)
        track.append(cloud.mean(axis=0))
    return _result(
        Drifter(drifter), last_known, until, confidence, cloud, np.array(track), assumed, winds, current
    )


def _check(
    last_known: LastKnown,
    winds: Sequence[WindStep],
    until: datetime,
    current: Current | None,
    spread: Spread,
    confidence: float,
    particles: int,
) -> None:
    in_range("latitude_deg", last_known.latitude_deg, "deg", -85, 85)
    in_range("longitude_deg", last_known.longitude_deg, "deg", -180, 180)
    in_range("radius_m", last_known.radius_m, "m", 0, 20_000)
    in_range("confidence", confidence, "", 0.5, 0.999)
    in_range("particles", particles, "", 100, 1_000_000)
    in_range("spread of wind", spread.wind_ms, "m/s", 0, 10)
    in_range("spread of current", spread.current_ms, "m/s", 0, 3)
    hours = (aware("until", until) - aware("last known at", last_known.at)) / timedelta(hours=1)
    in_range("time since last seen", hours, "h", 0, MAX_HOURS)
    if current is not None:
        in_range("current", current.speed_ms, "m/s", 0, 5)
        in_range("current toward", current.toward_deg, "deg", 0, 360)
    if not winds:
        raise BadValue("winds", "empty", "", "at least one stretch of wind")
    for step in winds:
        aware("wind's start", step.start)
        in_range("minutes", step.minutes, "min", 1 / 60, MAX_HOURS * 60)
        in_range("wind10_ms", step.wind10_ms, "m/s", 0, MAX_WIND_MS)
        in_range("from_deg", step.from_deg, "deg", 0, 360)


def _stretches(
    winds: Sequence[WindStep], at: datetime, until: datetime
) -> tuple[list[tuple[float, WindStep]], tuple[str, ...]]:
    """Seconds under each wind from the last sighting on; a later start wins where two overlap."""
    ordered = sorted(winds, key=lambda step: aware("start", step.start))
    begins = [aware("start", step.start) for step in ordered]
    ends = [start + timedelta(minutes=step.minutes) for start, step in zip(begins, ordered, strict=True)]
    begin, end = aware("at", at), aware("until", until)
    cuts = sorted({begin, end, *(moment for moment in (*begins, *ends) if begin < moment < end)})
    stretches: list[tuple[float, WindStep]] = []
    filled = 0.0
    for start, stop in pairwise(cuts):
        covering = [i for i in range(len(ordered)) if begins[i] <= start < ends[i]]
        before = [i for i in range(len(ordered)) if begins[i] <= start]
        seconds = (stop - start).total_seconds()
        filled += 0.0 if covering else seconds
        stretches.append((seconds, ordered[(covering or before or [0])[-1]]))
    assumed = f"no wind known for {filled / 60:.0f} min of the drift: the nearest wind before was taken"
    return stretches, (assumed,) if filled else ()


def _wind_vector(step: WindStep) -> Floats:
    """The wind as a vector of the way it blows, east and north [m/s]."""
    toward = radians(step.from_deg + 180)
    return np.array([step.wind10_ms * sin(toward), step.wind10_ms * cos(toward)])


def _stream(current: Current | None) -> Floats:
    if current is None:
        return np.zeros(2)
    toward = radians(current.toward_deg)
    return np.array([current.speed_ms * sin(toward), current.speed_ms * cos(toward)])


def _downwind_errors(rng: np.random.Generator, row: Leeway, particles: int) -> Floats:
    """Errors in cm/s, redrawn where they would turn the downwind slope against the wind."""
    errors = rng.normal(0, row.down.std, particles)
    while (wrong := row.down.slope + errors / (2 * SPREAD_WIND_MS) < 0).any():
        errors[wrong] = rng.normal(0, row.down.std, int(wrong.sum()))
    return errors


def _sides(
    rng: np.random.Generator, right: NDArray[np.bool_], seconds: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """Share of the stretch that each particle spends on the right side, in steps of a minute; and its end."""
    steps = ceil(seconds / STEP.total_seconds())
    chance = 1 - exp(log(1 - JIBES_PER_H) * seconds / steps / 3600)
    on_right = np.zeros(len(right))
    for _ in range(steps):
        right = right ^ (rng.random(len(right), dtype=np.float32) < chance)
        on_right += right
    return on_right / steps, right


def _leeway_vectors(
    row: Leeway, wind: Floats, down_e: Floats, cross_z: Floats, share_right: Floats
) -> Floats:
    """Leeway of each particle, east and north [m/s]; each side uses its own row entirely."""
    speed = np.hypot(wind[:, 0], wind[:, 1])
    ahead = wind / np.maximum(speed, 1e-9)[:, None]
    aside = np.column_stack([ahead[:, 1], -ahead[:, 0]])
    # Who drifts further aside than the mean does so on either side: hence the mirrored sign.
    down = _one(row.down, down_e, speed)
    to_right = _one(row.right, cross_z * row.right.std, speed)
    to_left = _one(row.left, -cross_z * row.left.std, speed)
    cross = share_right * to_right + (1 - share_right) * to_left
    vectors: Floats = down[:, None] * ahead + cross[:, None] * aside
    return vectors


def _one(line: Line, error: Floats, speed: Floats) -> Floats:
    leeway: Floats = ((line.slope + error / (2 * SPREAD_WIND_MS)) * speed + line.offset + error / 2) / 100
    return leeway


def _result(
    drifter: Drifter,
    last_known: LastKnown,
    until: datetime,
    confidence: float,
    cloud: Floats,
    track: Floats,
    assumed: tuple[str, ...],
    winds: Sequence[WindStep],
    current: Current | None,
) -> Drift:
    datum = cloud.mean(axis=0)
    away = cloud - datum
    radius = float(np.quantile(np.hypot(*away.T), confidence, method="higher"))
    latitude, longitude = offset_position(last_known.latitude_deg, last_known.longitude_deg, *datum)
    hours = (aware("until", until) - aware("at", last_known.at)) / timedelta(hours=1)
    speeds = [step.wind10_ms for step in winds]
    text = (
        f"{LEEWAY[drifter].words.capitalize()}, {hours:.1f} h after the last sighting in "
        f"{min(speeds):.0f}-{max(speeds):.0f} m/s: {hypot(*datum):.0f} m away; "
        f"{confidence:.0%} of {len(cloud)} drifts lie within {radius:.0f} m of the datum."
    )
    return Drift(
        drifter=drifter,
        last_known=last_known,
        until=until.astimezone(last_known.at.tzinfo),
        confidence=confidence,
        cloud_m=cloud,
        track_m=track,
        datum_m=(float(datum[0]), float(datum[1])),
        latitude_deg=latitude,
        longitude_deg=longitude,
        radius_m=radius,
        ellipse=_ellipse(away, confidence),
        assumed=assumed,
        reason=Reason(
            text=text,
            rule="leeway by regression with its spread, current added, half to each side of downwind",
            source=f"{SOURCE}; spread of wind and current: {POLICY}",
            inputs=(
                Input("drifting", hours, "h"),
                Input("table row", LEEWAY[drifter].row),
                Input("current", 0.0 if current is None else current.speed_ms, "m/s"),
            ),
        ),
    )


def _ellipse(away: Floats, confidence: float) -> Ellipse:
    """Axes from the cloud's covariance, stretched until the ellipse holds its share of the cloud."""
    covariance = np.cov(away.T) + _LEAST_SD_M**2 * np.eye(2)
    variances, axes = np.linalg.eigh(covariance)
    reach = np.sqrt(((away @ axes) ** 2 / variances).sum(axis=1))
    minor, major = np.sqrt(variances) * np.quantile(reach, confidence, method="higher")
    return Ellipse(float(major), float(minor), degrees(atan2(axes[0, 1], axes[1, 1])) % 180)


def offset_position(
    latitude_deg: float, longitude_deg: float, east_m: float, north_m: float
) -> tuple[float, float]:
    """Return latitude and longitude [deg] of a place some metres east and north of another.

    Flat within the neighbourhood: good to a few metres in 50 km away from the poles.

    Source: radii of curvature of the WGS 84 ellipsoid.
    """
    squash = 1 - WGS84_E2 * sin(radians(latitude_deg)) ** 2
    normal_m = WGS84_A_M / sqrt(squash)
    meridian_m = normal_m * (1 - WGS84_E2) / squash
    latitude = latitude_deg + degrees(north_m / meridian_m)
    longitude = longitude_deg + degrees(east_m / (normal_m * cos(radians(latitude_deg))))
    return float(latitude), float((longitude + 180) % 360 - 180)
