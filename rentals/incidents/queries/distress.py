"""The distress sheet: what to tell the rescue service about an overdue rider, and who was told what when."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import cos, radians, sin

from rentals.afloat import queries as afloat
from rentals.afloat.models import Acknowledgement, PhaseChange, Sighting
from rentals.bookings import queries as bookings
from rentals.bookings.models import KitPart, Outing
from rentals.fleet.models import WORN, Kind
from rentals.incidents.models import CallMade
from rentals.mail.models import Letter
from rentals.people.models import MedicalNote
from rentals.weather import queries as weather
from rentals.weather.mapping import observation_to_core
from rentals.weather.models import Observation
from rigging import drift, wind
from rigging.drift import Current, Drift, Drifter, LastKnown, WindStep

SEEN_WITHIN_M = 300.0
AREA_WITHIN_M = 1500.0
"""How well a noted place, and the sailing area of a beach, are known: 95 % radius [m]. Policy."""

DRIFTERS = (Drifter.WINDSURFER, Drifter.BOARD, Drifter.PERSON_VERTICAL)
LONGEST = timedelta(hours=24)
"""A drift reckoned over longer says nothing that helps."""


@dataclass(frozen=True, slots=True)
class LastSeen:
    """Where and when a rider was last known to be, and how that is known."""

    known: LastKnown
    words: str
    by: str


@dataclass(frozen=True, slots=True)
class Said:
    """That somebody was told something, or noted it."""

    at: datetime
    who: str
    text: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything that helps to find a rider."""

    outing: Outing
    worn: tuple[KitPart, ...]
    kit: tuple[KitPart, ...]
    medical: MedicalNote | None
    last: LastSeen | None
    sightings: tuple[Sighting, ...]
    winds: tuple[wind.Hour, ...]
    water_c: float | None
    drifts: tuple[Drift, ...]
    why_none: str
    lines: tuple[str, ...]
    told: tuple[Said, ...]
    caution: str = drift.CAUTION

    @property
    def seen_afar(self) -> list[KitPart]:
        """What shows from a boat or from the air: sail and board."""
        return [part for part in self.kit if part.part in (Kind.SAIL, Kind.BOARD)]


def distress_sheet(outing: Outing, *, current: Current | None, now: datetime) -> Sheet:
    """Return the distress sheet of an outing: ten queries.

    Args:
        outing: with station, rider, booking and party at hand.
        current: the surface current as staff know it.
        now: the moment.
    """
    station = outing.station
    parts = bookings.kit_in_force(outing)
    sightings = tuple(Sighting.objects.filter(outing=outing).select_related("by").order_by("-at", "-id"))
    last = _last_seen(outing, sightings)
    since = last.known.at if last else outing.starts_at
    winds = _winds(outing, since, now)
    beach = afloat.beach_now(station, now=now, riders_afloat=0)
    drifts, why_none = _drifts(last, winds, current, now)
    return Sheet(
        outing=outing,
        worn=tuple(part for part in parts if part.part in WORN),
        kit=tuple(part for part in parts if part.part not in WORN),
        medical=MedicalNote.objects.filter(rider=outing.rider).first(),
        last=last,
        sightings=sightings,
        winds=winds,
        water_c=beach.log.water_c if beach.log else None,
        drifts=drifts,
        why_none=why_none,
        lines=drift.sheet_lines(drifts),
        told=_told(outing),
    )


def _last_seen(outing: Outing, sightings: Sequence[Sighting]) -> LastSeen | None:
    """Return the newest sighting; without a place it lies somewhere in the beach's sailing area."""
    station = outing.station
    if outing.launched_at is None:
        return None
    at, by, words = outing.launched_at, "", "launched from the beach; not noted seen since"
    place, within = (station.latitude_deg, station.longitude_deg), AREA_WITHIN_M
    if sightings:
        newest = sightings[0]
        at, by, words = newest.at, newest.by.shown_name, newest.note or "seen, no place noted"
        if newest.bearing_deg is not None and newest.distance_m is not None:
            toward = radians(newest.bearing_deg)
            east, north = newest.distance_m * sin(toward), newest.distance_m * cos(toward)
            place = drift.offset_position(station.latitude_deg, station.longitude_deg, east, north)
            within = SEEN_WITHIN_M
            off = f"{newest.distance_m:.0f} m off the station on {newest.bearing_deg:03.0f}°"
            words = f"{off}: {newest.note}" if newest.note else off
    known = LastKnown(latitude_deg=place[0], longitude_deg=place[1], at=station.local(at), radius_m=within)
    return LastSeen(known, words, by)


def _winds(outing: Outing, since: datetime, now: datetime) -> tuple[wind.Hour, ...]:
    """Return the wind since the last sighting: what was measured, and the forecast where nothing was."""
    measured = Observation.objects.filter(
        station=outing.station, at__gt=since - weather.OBSERVATION_AGE, at__lte=now
    ).order_by("at", "id")
    hours = weather.hours_between(outing.station, since, max(now, since + timedelta(minutes=1)))
    return tuple(sorted((*hours, *map(observation_to_core, measured)), key=lambda hour: hour.start))


def _drifts(
    last: LastSeen | None, winds: Sequence[wind.Hour], current: Current | None, now: datetime
) -> tuple[tuple[Drift, ...], str]:
    """Return the drift as each thing that may be adrift, or why there is none."""
    steps = [
        WindStep(start=hour.start, minutes=hour.minutes, wind10_ms=hour.mean_ms, from_deg=hour.from_deg)
        for hour in winds
        if hour.from_deg is not None
    ]
    if last is None:
        return (), "The log has not let this rider go afloat. Look on land first."
    if not steps:
        return (
            (),
            "No wind with a direction is known. Log the beach, and give the rescue service the last place.",
        )
    until = last.known.at.astimezone(now.tzinfo) if now < last.known.at else now
    if until - last.known.at > LONGEST:
        return (), "Last seen more than a day ago: an estimate of drift would say nothing."
    local = until.astimezone(last.known.at.tzinfo)
    return tuple(drift.drift(kind, last.known, steps, local, current=current) for kind in DRIFTERS), ""


def _told(outing: Outing) -> tuple[Said, ...]:
    """Return who was told what when, newest first: four queries."""
    phases = PhaseChange.objects.filter(outing=outing)
    taken = Acknowledgement.objects.filter(change__outing=outing).select_related("by", "change")
    letters = Letter.objects.filter(event__startswith=f"overdue:{outing.pk}:")
    calls = CallMade.objects.filter(outing=outing).select_related("by")
    said = [Said(each.raised_at, "Marram", f"Raised: {each.phase}") for each in phases]
    said += [Said(each.at, each.by.shown_name, f"Took on: {each.change.phase}") for each in taken]
    said += [
        Said(
            each.sent_at or each.written_at,
            "Marram",
            f"{'Mailed' if each.sent_at else 'Not sent yet'}: {each.to}",
        )
        for each in letters
    ]
    said += [
        Said(each.at, each.by.shown_name, f"Told {each.whom}" + (f": {each.words}" if each.words else ""))
        for each in calls
    ]
    return tuple(sorted(said, key=lambda each: each.at, reverse=True))
