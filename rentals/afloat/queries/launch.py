"""What the launch check and the watch look at, gathered in a bounded number of queries."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import F

from rentals.afloat.mapping import Beach, age_years, gate_limits, halved_because, launch_facts
from rentals.afloat.models import BeachLog, PhaseChange
from rentals.bookings import queries as bookings
from rentals.bookings.models import KitPart, Outing
from rentals.checklists import queries as checklists
from rentals.checklists.models import Check
from rentals.lib.when import day_bounds
from rentals.stations import queries as stations
from rentals.stations.models import Station
from rentals.weather import queries as weather
from rentals.weather.mapping import covers, observation_to_core
from rigging import checks, wind
from rigging.checks.lists import Lines

LIGHTNING_MEMORY = timedelta(hours=6)


@dataclass(frozen=True, slots=True)
class LaunchSheet:
    """One outing as the instructor sees it before launch: points to look at, and gates."""

    outing: Outing
    kit: tuple[KitPart, ...]
    points: Lines
    gates: tuple[checks.Gate, ...]
    facts: checks.LaunchFacts
    listed: checklists.InForce
    caution: str = checks.CAUTION

    @property
    def issued(self) -> bool:
        """Whether the rider has the whole kit."""
        return bool(self.kit) and all(part.issued_at for part in self.kit)

    @property
    def shut(self) -> list[checks.Gate]:
        """Gates that stand against a launch, the check itself left out: it is what is being gone through."""
        return [gate for gate in self.gates if not gate.passed and gate.name != "checklist"]

    @property
    def open(self) -> list[checks.Gate]:
        """Gates that let the rider through."""
        return [gate for gate in self.gates if gate.passed]


@dataclass(frozen=True, slots=True)
class Lateness:
    """Where an outing on the water stands against its due time."""

    outing: Outing
    result: checks.PhaseResult


def launch_sheet(outing: Outing, *, ticked: frozenset[str] | None, now: datetime) -> LaunchSheet:
    """Return the sheet of an outing: seven queries.

    Args:
        outing: with station, rider, booking and party at hand.
        ticked: keys of the points that passed; None when the check has not been gone through.
        now: the moment.
    """
    station = outing.station
    parts = tuple(bookings.kit_in_force(outing))
    listed = checklists.in_force(station, Check.LAUNCH)
    points = listed.points({part.part for part in parts}, outing.rider.level)
    start, end = max(now, outing.starts_at), max(now, outing.ends_at)
    ahead = weather.hours_between(station, start, end)
    open_points = None if ticked is None else tuple(text for key, text in points if key not in ticked)
    facts = launch_facts(
        outing=outing,
        kit_parts=parts,
        cap_ms=stations.cap_ms(stations.policy_of(station), outing.rider.level),
        beach=beach_now(station, now=now),
        # A forecast with a hole in the span is no forecast for the gate: it then asks for one.
        ahead=ahead if covers(ahead, start, end) else (),
        points_open=open_points,
        now=now,
    )
    judged = checks.gates(facts, gate_limits(station), station.hard_gates)
    return LaunchSheet(outing, parts, points, judged, facts, listed)


def beach_now(station: Station, *, now: datetime, riders_afloat: int | None = None) -> Beach:
    """Return how the beach stands: three queries, or two when the riders afloat are counted already."""
    latest = weather.latest_observation(station, now=now)
    day_start, _ = day_bounds(station.local(now).date(), station.zone)
    since = min(day_start, now - LIGHTNING_MEMORY)
    logs = list(
        BeachLog.objects.filter(station=station, at__gte=since, at__lte=now)
        .select_related("correction", "by")
        .order_by("-at", "-id")
    )
    lightning = next((log for log in logs if log.lightning and not hasattr(log, "correction")), None)
    if riders_afloat is None:
        riders_afloat = Outing.objects.afloat().filter(station=station).count()
    return Beach(
        measured=observation_to_core(latest) if latest else None,
        log=next((log for log in logs if log.at >= day_start), None),
        last_lightning_at=lightning.at if lightning else None,
        lightning_log=lightning,
        riders_afloat=riders_afloat,
    )


def reached(outings: Sequence[Outing]) -> dict[int, checks.Phase]:
    """Return the highest phase raised for the due time that each outing has now, by outing: one query."""
    rows = PhaseChange.objects.filter(outing__in=outings, due_at=F("outing__ends_at"))
    found: dict[int, checks.Phase] = {}
    for outing_id, word in rows.values_list("outing_id", "phase"):
        found[outing_id] = max(found.get(outing_id, checks.Phase.ON_TIME), checks.Phase(word), key=_rank)
    return found


def lateness(
    outings: Sequence[Outing],
    station: Station,
    *,
    beach: Beach,
    hours: Sequence[wind.Hour],
    raised: Mapping[int, checks.Phase],
    now: datetime,
) -> tuple[Lateness, ...]:
    """Return where outings on the water of one station stand, the latest first: no query.

    Args:
        outings: afloat, with station and rider at hand.
        station: theirs.
        beach: as it stands.
        hours: of wind over the outings' spans.
        raised: by outing, the phase already raised for its due time, as `reached` returns it.
        now: the moment.
    """
    # Of many afloat most have the same times and are grown up: they stand alike.
    alike: dict[tuple[datetime, datetime, float, checks.Phase], checks.PhaseResult] = {}
    judged = []
    for outing in outings:
        before = raised.get(outing.pk, checks.Phase.ON_TIME)
        age = age_years(outing.rider, outing.starts_at.date())
        key = (outing.starts_at, outing.ends_at, age, before)
        if key not in alike:
            alike[key] = _phase(outing, beach, hours, before, now)
        judged.append(Lateness(outing, alike[key]))
    return tuple(sorted(judged, key=lambda each: (-each.result.phase.rank, each.outing.ends_at)))


def _phase(
    outing: Outing, beach: Beach, hours: Sequence[wind.Hour], before: checks.Phase, now: datetime
) -> checks.PhaseResult:
    station = outing.station
    ahead = [hour for hour in hours if hour.start < outing.ends_at and hour.end > outing.starts_at]
    return checks.phase(
        station.local(outing.ends_at),
        now,
        station.phase_minutes,
        halved_because=halved_because(outing, beach, ahead),
        reached=before,
    )


def _rank(phase: checks.Phase) -> int:
    return phase.rank
