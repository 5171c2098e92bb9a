"""Today at one glance: who comes, who is out, who is late, and the next step of each outing."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q

from rentals.afloat import queries as afloat
from rentals.afloat.mapping import Beach
from rentals.audit.models import Entry
from rentals.bench.models import Job
from rentals.bench.states import UNFINISHED
from rentals.bookings.models import KitPart, Outing
from rentals.bookings.states import DROPPED, OutingState
from rentals.fleet.models import Kind
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


def board(station: Station, day: date, *, now: datetime) -> Board:
    """Return the board of a station's day: seven queries, however many outings."""
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
    late = {
        state.outing.pk: state.result
        for state in afloat.lateness(out, station, beach=beach, hours=wind.hours, now=now)
    }
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
    )


def _rows(outings: Sequence[Outing], late: dict[int, checks.PhaseResult]) -> list[Row]:
    parts: defaultdict[int, dict[str, str]] = defaultdict(dict)
    shown = KitPart.objects.filter(outing__in=outings, dropped_at=None, part__in=[Kind.SAIL, Kind.BOARD])
    for outing_id, part, tag, name in shown.values_list(
        "outing_id", "part", "item__tag", "item__model__name"
    ):
        parts[outing_id][part] = f"{name} ({tag})"
    return [
        Row(
            outing=outing,
            sail=parts[outing.pk].get(Kind.SAIL, ""),
            board=parts[outing.pk].get(Kind.BOARD, ""),
            next_step=NEXT_STEP.get(OutingState(outing.state), ""),
            lateness=late.get(outing.pk),
        )
        for outing in outings
    ]


def _worst_first(row: Row) -> tuple[int, datetime]:
    rank = row.lateness.phase.rank if row.lateness else 0
    return -rank, row.outing.ends_at


def outing_journal(outing: Outing) -> list[Entry]:
    """Return what happened to an outing, newest first: one query."""
    return list(Entry.objects.about("outing", outing.pk)[:LAST_ENTRIES])
