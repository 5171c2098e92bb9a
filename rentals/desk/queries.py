"""Today at one glance: who comes, who is out, who is late, and the next step of each outing."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q

from rentals.afloat import queries as afloat
from rentals.afloat.mapping import Beach
from rentals.audit.models import Entry
from rentals.bench.models import Job
from rentals.bench.states import UNFINISHED
from rentals.bookings.models import KitPart, Outing
from rentals.bookings.states import DROPPED, NOT_YET_AFLOAT, OutingState
from rentals.fleet.models import Kind
from rentals.fleet.states import OUT_OF_USE
from rentals.lib.when import day_bounds
from rentals.stations.models import Station
from rentals.weather import queries as weather
from rigging import checks

LAST_ENTRIES = 40
NEXT_STEP = {
    OutingState.BOOKED: "Choose kit",
    OutingState.KITTED: "Issue and check",
    OutingState.CLEARED: "Let go",
    OutingState.AFLOAT: "Return check",
    OutingState.ASHORE: "Return check",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One outing on the board."""

    outing: Outing
    sail: str
    board: str
    next_step: str
    trouble: str
    lateness: checks.PhaseResult | None

    @property
    def late(self) -> bool:
        """Whether an overdue phase has begun."""
        return self.lateness is not None and self.lateness.phase is not checks.Phase.ON_TIME


@dataclass(frozen=True, slots=True)
class Board:
    """The day as Today shows it."""

    day: date
    wind: weather.DayWind
    beach: Beach
    rows: tuple[Row, ...]
    late: tuple[Row, ...]
    afloat: int
    to_come: int
    done: int
    open_jobs: int
    lightning_until: datetime | None


def board(station: Station, day: date, *, now: datetime) -> Board:
    """Return the board of a station's day: seven queries, eight when somebody is out."""
    start, end = day_bounds(day, station.zone)
    outings = list(
        Outing.objects.filter(station=station)
        .filter(Q(starts_at__gte=start, starts_at__lt=end) | Q(state=OutingState.AFLOAT))
        .exclude(state__in=DROPPED)
        .with_faces()
        .select_related("station")
        .order_by("starts_at", "id")
    )
    out = [outing for outing in outings if outing.state == OutingState.AFLOAT]
    wind = weather.day_wind(station, day, now=now)
    beach = afloat.beach_now(station, now=now, riders_afloat=len(out))
    raised = afloat.reached(out) if out else {}
    judged = afloat.lateness(out, station, beach=beach, hours=wind.hours, raised=raised, now=now)
    late = {state.outing.pk: state.result for state in judged}
    rows = tuple(_rows(outings, late))
    return Board(
        day=day,
        wind=wind,
        beach=beach,
        rows=rows,
        late=tuple(sorted((row for row in rows if row.late), key=_worst_first)),
        afloat=len(out),
        to_come=sum(row.outing.state in ("booked", "kitted", "cleared") for row in rows),
        done=sum(row.outing.state in ("ashore", "closed") for row in rows),
        open_jobs=Job.objects.filter(item__station=station, state__in=UNFINISHED).count(),
        lightning_until=_lightning_until(beach, now),
    )


def _rows(outings: Sequence[Outing], late: dict[int, checks.PhaseResult]) -> list[Row]:
    kit: defaultdict[int, dict[str, KitPart]] = defaultdict(dict)
    for part in KitPart.objects.filter(outing__in=outings).in_force().with_items():
        kit[part.outing_id][part.part] = part
    return [
        Row(
            outing=outing,
            sail=_named(kit[outing.pk].get(Kind.SAIL)),
            board=_named(kit[outing.pk].get(Kind.BOARD)),
            next_step=NEXT_STEP.get(OutingState(outing.state), ""),
            trouble=_trouble(outing, kit[outing.pk].values()),
            lateness=late.get(outing.pk),
        )
        for outing in outings
    ]


def _named(part: KitPart | None) -> str:
    return f"{part.item.model.name} ({part.item.tag})" if part else ""


def _trouble(outing: Outing, parts: Iterable[KitPart]) -> str:
    """Return what stands against an outing's kit: held but out of use, or not back though the rider is."""
    if outing.state == OutingState.ASHORE:
        out = [part.item.tag for part in parts if part.issued_at and not part.returned_at]
        return f"not back yet: {', '.join(out)}" if out else ""
    if outing.state not in NOT_YET_AFLOAT:
        return ""
    gone = [part.item for part in parts if part.item.state in OUT_OF_USE]
    return "; ".join(f"{item.tag} is {item.state.replace('_', ' ')}" for item in gone)


def _lightning_until(beach: Beach, now: datetime) -> datetime | None:
    """Return until when the last lightning holds everybody ashore, None when it does not any more."""
    if beach.last_lightning_at is None:
        return None
    until = checks.lightning_hold_ends(beach.last_lightning_at)
    return until if until > now else None


def _worst_first(row: Row) -> tuple[int, datetime]:
    rank = row.lateness.phase.rank if row.lateness else 0
    return -rank, row.outing.ends_at


def outing_journal(outing: Outing) -> list[Entry]:
    """Return what happened to an outing, newest first: one query."""
    return list(Entry.objects.about("outing", outing.pk)[:LAST_ENTRIES])
