"""The Afloat page and the watch's bar: who is out, how late, last seen when, and whether the watch looks."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

from django.db import DatabaseError, connection
from django.db.models import F, QuerySet

from rentals.afloat.mapping import Beach, position_of
from rentals.afloat.models import HeadCount, PhaseChange, Recall, Sighting, WatchContact
from rentals.afloat.queries.launch import beach_now, lateness
from rentals.audit.models import Entry
from rentals.bookings.models import KitPart, Outing
from rentals.bookings.queries import CalledBack, out_on_recalled
from rentals.fleet.models import Kind
from rentals.lib.access import System
from rentals.mail import queries as mail
from rentals.mail.models import Hook
from rentals.stations import queries as stations
from rentals.stations.models import Station
from rentals.weather import queries as weather
from rigging import checks, sizing

MISSED_AFTER = timedelta(seconds=60)
"""A beat older than this is missed; pages ask every twenty seconds, so all say so within 90. Policy."""
STUCK_AFTER = timedelta(minutes=5)
"""A letter or call that waits longer is told on every page. Policy."""
GAP_SHOWN = timedelta(hours=12)
COUNT_SHOWN = timedelta(hours=12)
MOST_LINES = 40
SEEN_FROM_AFAR = Kind.SAIL, Kind.BOARD
MOST_AT_HAND = 20
"""Riders on time whose rows have every button; further ones, due later, have short rows."""


@dataclass(frozen=True, slots=True)
class LastSeen:
    """When a rider was last known to be somewhere, by whom, and where if it was noted."""

    at: datetime
    by: str
    latitude_deg: float | None
    longitude_deg: float | None
    bearing_deg: float | None
    distance_m: float | None
    in_trouble: bool
    note: str
    launched: bool
    """Whether nobody has seen the rider since the launch, which this then is."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """The highest phase raised of an outing for its due time, and who has taken it on."""

    phase: str
    raised_at: datetime
    calls: int
    taken_by: str
    taken_at: datetime | None


@dataclass(frozen=True, slots=True)
class RiderOut:
    """One rider on the water."""

    outing: Outing
    result: checks.PhaseResult
    sail: str
    board: str
    colours: str
    last_seen: LastSeen
    alarm: Alarm | None
    too_windy: str
    minutes_left: int

    @property
    def late(self) -> bool:
        """Whether an overdue phase has begun."""
        return self.result.phase is not checks.Phase.ON_TIME

    @property
    def asks_for_a_look(self) -> bool:
        """Whether the rider is late, in trouble, or out in more wind than their level takes."""
        return self.late or bool(self.too_windy) or self.last_seen.in_trouble

    @property
    def unanswered(self) -> bool:
        """Whether a phase was raised that nobody has taken on."""
        return self.alarm is not None and not self.alarm.taken_by


@dataclass(frozen=True, slots=True)
class AfloatPage:
    """Everybody on the water of a station, and what holds for all of them."""

    riders: tuple[RiderOut, ...]
    beach: Beach
    recall: Recall | None
    called_back: tuple[CalledBack, ...]
    """Riders who have a recalled item with them, those afloat first."""
    count: HeadCount | None
    lightning_until: datetime | None
    gap: str
    unraised: bool
    """Whether a phase has begun that the watch has not raised yet."""

    @property
    def too_windy(self) -> int:
        """Riders over whose level's limit it blows."""
        return sum(bool(rider.too_windy) for rider in self.riders)

    @property
    def at_hand(self) -> tuple[RiderOut, ...]:
        """Riders who ask for a look, and the next due; the latest first."""
        return tuple(
            rider for n, rider in enumerate(self.riders) if n < MOST_AT_HAND or rider.asks_for_a_look
        )

    @property
    def further(self) -> tuple[RiderOut, ...]:
        """The others afloat, by the time they are due."""
        return tuple(rider for rider in self.riders[MOST_AT_HAND:] if not rider.asks_for_a_look)

    @property
    def miscounted(self) -> bool:
        """Whether the last head count did not agree with the log."""
        return self.count is not None and self.count.counted != self.count.logged


def afloat_page(station: Station, *, now: datetime, parties: bool = False) -> AfloatPage:
    """Return the Afloat page: thirteen queries, however many riders are out.

    Args:
        station: whose water.
        now: the moment.
        parties: whether each outing is to have its booking and party at hand too.
    """
    out = Outing.objects.afloat().filter(station=station).order_by("ends_at", "id")
    outings = list(out.with_faces() if parties else out.select_related("rider"))
    for outing in outings:
        outing.station = station
    beach = beach_now(station, now=now, riders_afloat=len(outings))
    start = min((outing.starts_at for outing in outings), default=now)
    end = max([now + timedelta(minutes=1), *(outing.ends_at for outing in outings)])
    hours = weather.hours_between(station, start, end)
    alarms = alarms_of(out)
    raised = {outing_id: checks.Phase(alarm.phase) for outing_id, alarm in alarms.items()}
    judged = lateness(outings, station, beach=beach, hours=hours, raised=raised, now=now)
    seen = last_seen(outings)
    kit = _seen_from_afar(out)
    policy = stations.policy_of(station)
    too_windy = {level: _too_windy(level, beach, policy) for level in {each.rider.level for each in outings}}
    riders = tuple(
        RiderOut(
            outing=state.outing,
            result=state.result,
            sail=_named(kit, state.outing, Kind.SAIL),
            board=_named(kit, state.outing, Kind.BOARD),
            colours=_colours(kit, state.outing),
            last_seen=seen[state.outing.pk],
            alarm=alarms.get(state.outing.pk),
            too_windy=too_windy[state.outing.rider.level],
            minutes_left=int((state.outing.ends_at - now) // timedelta(minutes=1)),
        )
        for state in judged
    )
    counts = HeadCount.objects.filter(station=station, at__gt=now - COUNT_SHOWN, at__lte=now)
    lightning = beach.last_lightning_at and checks.lightning_hold_ends(beach.last_lightning_at)
    return AfloatPage(
        riders=riders,
        beach=beach,
        recall=Recall.objects.filter(station=station, lifted_at=None).select_related("by").first(),
        called_back=out_on_recalled(station),
        count=counts.select_related("by").order_by("-at", "-id").first(),
        lightning_until=lightning if lightning and lightning > now else None,
        gap=_gap(station, now),
        unraised=any(
            rider.result.phase.rank > raised.get(rider.outing.pk, checks.Phase.ON_TIME).rank
            for rider in riders
        ),
    )


def alarms_of(outings: QuerySet[Outing]) -> dict[int, Alarm]:
    """Return the highest phase raised for the due time that each outing has, by outing: two queries."""
    changes = (
        PhaseChange.objects.filter(outing__in=outings, due_at=F("outing__ends_at"))
        .select_related("acknowledged__by")
        .prefetch_related("escalations")
        .order_by("id")
    )
    found: dict[int, Alarm] = {}
    for change in sorted(changes, key=lambda each: checks.Phase(each.phase).rank):
        taken = getattr(change, "acknowledged", None)
        found[change.outing_id] = Alarm(
            phase=change.phase,
            raised_at=change.raised_at,
            calls=1 + len(change.escalations.all()),
            taken_by=taken.by.shown_name if taken else "",
            taken_at=taken.at if taken else None,
        )
    return found


def last_seen(outings: Sequence[Outing]) -> dict[int, LastSeen]:
    """Return when each outing's rider was last seen, by outing; the launch where nobody did since: one query.

    Args:
        outings: launched, with their station at hand.
    """
    found = {outing.pk: _at_launch(outing) for outing in outings}
    known = {outing.pk: outing for outing in outings}
    rows = Sighting.objects.filter(outing__in=outings).select_related("by").order_by("at", "id")
    for row in rows:
        found[row.outing_id] = _seen(row, known[row.outing_id].station)
    return found


def last_place(outing: Outing) -> LastSeen:
    """Return the newest sighting of a rider that says where; the station's beach where none does: one query.

    For the distress sheet: a later sighting without a place tells the time only.
    """
    rows = Sighting.objects.filter(outing=outing, bearing_deg__isnull=False).select_related("by")
    row = rows.order_by("-at", "-id").first()
    return _at_launch(outing) if row is None else _seen(row, outing.station)


@dataclass(frozen=True, slots=True)
class Bar:
    """What every page says about the watch: nothing when it looks, everybody is on time and mail goes out."""

    missed: str
    late: int
    unanswered: int
    worst: str
    stuck_since: datetime | None


def bar(station: Station, *, now: datetime) -> Bar:
    """Return what the bar on every page of a station says: two queries, three when there are alarms."""
    alarms = list(alarms_of(Outing.objects.afloat().filter(station=station)).values())
    worst = max(alarms, key=lambda alarm: checks.Phase(alarm.phase).rank, default=None)
    return Bar(
        missed=missed(station, now),
        late=len(alarms),
        unanswered=sum(not alarm.taken_by for alarm in alarms),
        worst=worst.phase if worst else "",
        stuck_since=mail.waiting_since(now - STUCK_AFTER),
    )


def missed(station: Station, now: datetime) -> str:
    """Return what to say when the watch has not looked at a station lately, empty when it has: no query."""
    if station.watched_at is None:
        return "The watch over who is overdue has not looked yet."
    # A beat from the future is a clock that went back: the watch may be as dead as with an old one.
    if abs(now - station.watched_at) <= MISSED_AFTER:
        return ""
    since = station.local(station.watched_at)
    said = f"{since:%H:%M:%S}" if since.date() == station.local(now).date() else f"{since:%a %-d %b, %H:%M}"
    return f"The watch over who is overdue has not looked since {said}."


@dataclass(frozen=True, slots=True)
class Health:
    """Whether the service does its work, in words that say nothing of anybody: for a monitor outside."""

    watch: bool
    outbox: bool

    @property
    def well(self) -> bool:
        """Whether all of it does."""
        return self.watch and self.outbox


def health(*, now: datetime) -> Health:
    """Return whether the watch looks at every station and mail goes out: three queries."""
    beats = Station.objects.values_list("watched_at", flat=True)
    return Health(
        watch=all(beat is not None and abs(now - beat) <= MISSED_AFTER for beat in beats),
        outbox=mail.waiting_since(now - STUCK_AFTER) is None,
    )


def contacts(station: Station) -> list[WatchContact]:
    """Return who is told one after the other when an alarm is not taken on: one query."""
    return list(WatchContact.objects.filter(station=station).order_by("place"))


def hook(station: Station) -> Hook | None:
    """Return the address that alarms are posted to, None when there is none: one query."""
    return Hook.objects.filter(station_id=station.pk, stopped_at=None).first()


def database_answers() -> bool:
    """Say whether the database answers: one query, none of anybody's rows."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return False
    return True


@dataclass(frozen=True, slots=True)
class Told:
    """A line of what was done about a rider on the water."""

    at: datetime
    text: str
    by: str


def rider_out(outing: Outing) -> tuple[Told, ...]:
    """Return what was seen and told of a rider since the launch, newest first: one query."""
    entries = Entry.objects.about("outing", outing.pk).filter(at__gte=outing.launched_at or outing.starts_at)
    return tuple(Told(entry.at, entry.text, entry.actor_name) for entry in entries[:MOST_LINES])


def _at_launch(outing: Outing) -> LastSeen:
    station = outing.station
    return LastSeen(
        at=outing.launched_at or outing.starts_at,
        by="",
        latitude_deg=station.latitude_deg,
        longitude_deg=station.longitude_deg,
        bearing_deg=None,
        distance_m=None,
        in_trouble=False,
        note="",
        launched=True,
    )


def _seen(row: Sighting, station: Station) -> LastSeen:
    place = position_of(station, row)
    return LastSeen(
        at=row.at,
        by=row.by.shown_name,
        latitude_deg=place[0] if place else None,
        longitude_deg=place[1] if place else None,
        bearing_deg=row.bearing_deg,
        distance_m=row.distance_m,
        in_trouble=row.in_trouble,
        note=row.note,
        launched=False,
    )


class Shown(NamedTuple):
    """A part of a rider's kit that can be told from afar."""

    tag: str
    model: str
    colour: str


def _seen_from_afar(outings: QuerySet[Outing]) -> dict[tuple[int, str], Shown]:
    """Return sail and board of each outing, by outing and part: one query."""
    parts = KitPart.objects.filter(outing__in=outings, part__in=SEEN_FROM_AFAR).in_force()
    told = parts.values_list("outing_id", "part", "item__tag", "item__model__name", "item__colour")
    return {(outing_id, part): Shown(*item) for outing_id, part, *item in told}


def _named(kit: Mapping[tuple[int, str], Shown], outing: Outing, part: Kind) -> str:
    found = kit.get((outing.pk, part))
    return f"{found.model} ({found.tag})" if found else ""


def _colours(kit: Mapping[tuple[int, str], Shown], outing: Outing) -> str:
    """The colours by which a rider is known from afar, as staff entered them."""
    shown = [(kind, kit[outing.pk, kind].colour) for kind in SEEN_FROM_AFAR if (outing.pk, kind) in kit]
    return ", ".join(f"{kind.value} {colour}" for kind, colour in shown if colour)


def _too_windy(word: str, beach: Beach, policy: sizing.Policy) -> str:
    """Say it when it blows over the limit of a level, empty when it does not or nobody measured."""
    if beach.beach_mean_ms is None:
        return ""
    level = sizing.Level(word)
    cap_ms = stations.cap_ms(policy, level)
    return checks.too_much_wind(level, cap_ms, beach.beach_mean_ms, beach.beach_gust_ms)


def _gap(station: Station, now: datetime) -> str:
    """What the watch last missed, from the journal."""
    entries = Entry.objects.about("station", station.pk).filter(
        act=System.WATCH.value, at__gt=now - GAP_SHOWN, at__lte=now
    )
    return entries.values_list("text", flat=True).first() or ""
