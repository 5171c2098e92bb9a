"""What is known about an outing, as the facts that the launch gates and the overdue phases judge."""

import logging
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache

from rentals.afloat.models import BeachLog, Sighting
from rentals.bookings.models import Booking, KitPart, Outing
from rentals.fleet.mapping import item_to_core
from rentals.fleet.models import RIG_PARTS, Kind
from rentals.people.models import Rider
from rentals.stations.models import Station
from rigging import checks, drift, kit, sizing, sun, wind
from rigging.units import BadValue

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Beach:
    """How the beach stands now: wind as last measured, today's newest log line, the last lightning."""

    measured: wind.Hour | None
    log: BeachLog | None
    last_lightning_at: datetime | None
    lightning_log: BeachLog | None
    riders_afloat: int

    @property
    def beach_mean_ms(self) -> float | None:
        """The wind as measured, at head height."""
        return _beach(self.measured.mean_ms if self.measured else None)

    @property
    def beach_gust_ms(self) -> float | None:
        """The gusts as measured, at head height."""
        return _beach(self.measured.gust_ms if self.measured else None)

    @property
    def riders_per_instructor(self) -> float | None:
        """Riders afloat and the next one, for each instructor on the beach."""
        if self.log is None or self.log.instructors == 0:
            return None
        return (self.riders_afloat + 1) / self.log.instructors


def launch_facts(
    *,
    outing: Outing,
    kit_parts: Sequence[KitPart],
    cap_ms: float,
    beach: Beach,
    ahead: Sequence[wind.Hour],
    points_open: tuple[str, ...] | None,
    now: datetime,
) -> checks.LaunchFacts:
    """Return everything the gates ask, None where nobody has said.

    Args:
        outing: with station, rider and booking at hand.
        kit_parts: its kit in force, with items and models.
        cap_ms: the level's limit here, on mean beach wind.
        beach: as it stands.
        ahead: forecast hours of the outing's span.
        points_open: lines of the check not ticked; None when the check was not gone through.
        now: the moment.
    """
    rider, station = outing.rider, outing.station
    fit = rig_fit(kit_parts)
    measured = beach.measured
    models = {Kind(part.part): part.item.model for part in kit_parts}
    suit, aid = models.get(Kind.WETSUIT), models.get(Kind.BUOYANCY_AID)
    log = beach.log
    return checks.LaunchFacts(
        now=station.local(now),
        due=station.local(outing.ends_at),
        level=sizing.Level(rider.level),
        age_years=age_years(rider, now.date()),
        mass_kg=float(rider.mass_kg),
        waiver_signed=rider.waiver_signed_at is not None,
        guardian_consents=rider.guardian_consent_at is not None,
        swim_stated=rider.swims,
        lesson=outing.booking.kind == Booking.Kind.LESSON,
        instructor_present=None if log is None else log.instructors > 0,
        riders_per_instructor=beach.riders_per_instructor,
        cap_ms=cap_ms,
        wind_mean_ms=beach.beach_mean_ms,
        wind_gust_ms=beach.beach_gust_ms,
        wind_at=measured.start if measured else None,
        ahead_mean_ms=_beach(max((hour.mean_ms for hour in ahead), default=None)),
        ahead_gust_ms=_beach(max((wind.gust_of(hour) for hour in ahead), default=None)),
        shore=shore_of(station, beach, ahead),
        safety_boat_manned=None if log is None else log.safety_boat_manned,
        sun=sun_of(station, outing.starts_at),
        last_lightning_at=beach.last_lightning_at,
        water_c=None if log is None else log.water_c,
        suit_mm=suit.thickness_mm if suit else None,
        buoyancy_n=aid.buoyancy_n if aid else None,
        rig_fits=None if fit is None else fit.ok,
        misfits=() if fit is None else tuple(misfit.text for misfit in fit.misfits),
        items=tuple(checks.KitItem(tag=part.item.tag, state=part.item.state) for part in kit_parts),
        checklist_passed=None if points_open is None else not points_open,
        checklist_open=points_open or (),
    )


def conditions(outing: Outing, beach: Beach, ahead: Sequence[wind.Hour]) -> checks.Conditions:
    """Return what makes lateness of an outing worse."""
    word = shore_of(outing.station, beach, ahead)
    return checks.Conditions(
        off_shore=None if word is None else word == wind.Shore.OFF_SHORE,
        water_c=beach.log.water_c if beach.log else None,
        sun=sun_of(outing.station, outing.starts_at),
        age_years=age_years(outing.rider, outing.starts_at.date()),
    )


def halved_because(outing: Outing, beach: Beach, ahead: Sequence[wind.Hour]) -> tuple[str, ...]:
    """Return the reasons to halve an outing's minutes; what cannot be judged is one of them.

    The watch must not stop over one odd number, so here alone a bad value is an answer.
    """
    station = outing.station
    try:
        return checks.halving(
            station.local(outing.ends_at),
            conditions(outing, beach, ahead),
            station.phase_minutes,
            station.halving,
        )
    except BadValue:
        logger.exception("Conditions of outing %s cannot be judged", outing.pk)
        return ("conditions could not be judged",)


def position_of(station: Station, sighting: Sighting) -> tuple[float, float] | None:
    """Return latitude and longitude of a sighting [deg]; None where nobody noted the place."""
    if sighting.bearing_deg is None or sighting.distance_m is None:
        return None
    angle = math.radians(sighting.bearing_deg)
    return drift.offset_position(
        station.latitude_deg,
        station.longitude_deg,
        sighting.distance_m * math.sin(angle),
        sighting.distance_m * math.cos(angle),
    )


def gate_limits(station: Station) -> checks.GateLimits:
    """Return the limits of the launch gates at a station."""
    return checks.GateLimits(
        riders_per_instructor=station.riders_per_instructor,
        riders_without_boat=station.riders_without_boat,
    )


def rig_fit(kit_parts: Iterable[KitPart]) -> kit.Fit | None:
    """Return how an outing's rig fits; None when a part is missing."""
    parts = {part.part: item_to_core(part.item) for part in kit_parts if part.part in RIG_PARTS}
    return kit.fit(**parts) if len(parts) == len(RIG_PARTS) else None  # type: ignore[arg-type]


def shore_of(station: Station, beach: Beach, ahead: Sequence[wind.Hour]) -> wind.Shore | None:
    """Return how the wind meets the shore: off-shore when the beach or any hour ahead says so."""
    directions = [beach.measured.from_deg] if beach.measured else []
    directions += [hour.from_deg for hour in ahead]
    known = [each for each in directions if each is not None]
    if not known:
        return None
    found = {wind.shore(each, station.seaward_deg) for each in known}
    return next(
        word for word in (wind.Shore.OFF_SHORE, wind.Shore.SIDE_SHORE, wind.Shore.ON_SHORE) if word in found
    )


def sun_of(station: Station, moment: datetime) -> sun.SunTimes:
    """Return the sun's times over a station on the local day of a moment."""
    return _sun_times(station.local(moment).date(), station.latitude_deg, station.longitude_deg, station.zone)


# Everybody afloat is under the same sun: a busy day asks for it once.
_sun_times = lru_cache(maxsize=64)(sun.sun_times)


def age_years(rider: Rider, day: date) -> float:
    """Return a rider's age on a day, exact at birthdays."""
    return float(rider.age_on(day))


def _beach(v10_ms: float | None) -> float | None:
    return None if v10_ms is None else float(wind.beach_wind(v10_ms))
