"""Today at one glance: who comes, who is out, who is late, and the next step of each outing."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any
from urllib.parse import unquote

from django.db.models import Count, Exists, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from rentals.afloat import queries as afloat
from rentals.afloat.mapping import Beach
from rentals.afloat.models import WatchContact
from rentals.audit.models import Entry
from rentals.bench.models import Job
from rentals.bench.states import UNFINISHED
from rentals.bookings.models import Booking, KitPart, Outing
from rentals.bookings.states import DROPPED, NOT_YET_AFLOAT, OutingState
from rentals.dayplan import queries as dayplan
from rentals.dayplan.models import Crew, Plan
from rentals.dayplan.states import PlanState
from rentals.desk.mapping import Pasted
from rentals.errands.models import Errand, ErrandKind
from rentals.fleet.models import Item, Kind
from rentals.fleet.states import AT_HAND, OUT_OF_USE, ItemState
from rentals.lib.access import Actor, Role
from rentals.lib.problems import NotVisible
from rentals.lib.when import day_bounds
from rentals.people.models import Posting, Rider
from rentals.people.services import RiderFacts
from rentals.stations.models import Station
from rentals.takings import queries as takings
from rentals.takings.models import Price
from rentals.weather import queries as weather
from rentals.weather.models import Run, Source
from rigging import checks

LAST_ENTRIES = 40
KIT_BY = timedelta(hours=1)
"""How long before the start a rider without kit counts as short. Status: policy."""

MOST_FOUND = 12
FEWEST_LETTERS = 2
MOST_ID = 2**63
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
    to_issue: bool = False

    @property
    def late(self) -> bool:
        """Whether an overdue phase has begun."""
        return _is_late(self.lateness)

    @property
    def is_to_come(self) -> bool:
        """Whether the rider has not gone afloat yet."""
        return self.outing.state in NOT_YET_AFLOAT


@dataclass(frozen=True, slots=True)
class Board:
    """The day as Today shows it; `rows` are all of the day, or those that matter now."""

    day: date
    wind: weather.DayWind
    beach: Beach
    rows: tuple[Row, ...]
    late: tuple[Row, ...]
    afloat: int
    to_come: int
    done: int
    open_jobs: int
    kit: int
    lightning_until: datetime | None
    unserved: int

    @property
    def hidden(self) -> int:
        """How many outings of the day are not among the rows."""
        return max(self.to_come + self.afloat + self.done - len(self.rows), 0)

    @property
    def unseen_afloat(self) -> int:
        """How many of those afloat are not among the rows."""
        return self.afloat - sum(row.outing.state == OutingState.AFLOAT for row in self.rows)

    @property
    def short(self) -> tuple[Row, ...]:
        """Outings to come whose kit is missing or cannot go out."""
        return tuple(row for row in self.rows if row.trouble and row.outing.state in NOT_YET_AFLOAT)

    @property
    def next_at(self) -> datetime | None:
        """When the next riders come."""
        return min((row.outing.starts_at for row in self.rows if row.is_to_come), default=None)


def board(station: Station, day: date, *, now: datetime, most: int | None = None) -> Board:
    """Return the board of a station's day: seven queries, eight when somebody is out.

    Args:
        station: whose day.
        day: which.
        now: the moment.
        most: how many afloat and how many to come at most; those late are shown all. None for everything.
    """
    start, end = day_bounds(day, station.zone)
    of_day = Outing.objects.filter(station=station, starts_at__gte=start, starts_at__lt=end)
    of_day = of_day.exclude(state__in=DROPPED)
    outings = _outings(station, of_day, most)
    out = sorted(
        (each for each in outings if each.state == OutingState.AFLOAT), key=lambda each: each.ends_at
    )
    wind = weather.day_wind(station, day, now=now)
    beach = afloat.beach_now(station, now=now, riders_afloat=len(out))
    raised = afloat.reached(out) if out else {}
    # Whoever is neither due nor raised cannot be late; of many afloat only the next due are looked at.
    asked = [
        each
        for n, each in enumerate(out)
        if most is None or n < most or each.ends_at <= now or each.pk in raised
    ]
    judged = afloat.lateness(asked, station, beach=beach, hours=wind.hours, raised=raised, now=now)
    lateness = {state.outing.pk: state.result for state in judged}
    beyond = out[most:] if most is not None else []
    unseen = {each.pk for each in beyond if not _is_late(lateness.get(each.pk))}
    rows = tuple(_rows([each for each in outings if each.pk not in unseen], lateness, now))
    counts = _counts(station, of_day, day)
    return Board(
        day=day,
        wind=wind,
        beach=beach,
        rows=rows,
        late=tuple(sorted((row for row in rows if row.late), key=_worst_first)),
        afloat=len(out),
        lightning_until=_lightning_until(beach, now),
        **counts,
    )


def _outings(station: Station, of_day: QuerySet[Outing], most: int | None) -> list[Outing]:
    """Those afloat whenever they were due, and those of the day: all, or the next that ask for a hand."""
    if most is not None:
        waiting = of_day.exclude(state__in=(OutingState.AFLOAT, OutingState.CLOSED))
        of_day = Outing.objects.filter(pk__in=waiting.order_by("starts_at", "id").values("pk")[:most])
    afloat_now = Outing.objects.filter(station=station, state=OutingState.AFLOAT)
    together = Outing.objects.filter(Q(pk__in=of_day.values("pk")) | Q(pk__in=afloat_now.values("pk")))
    return list(together.with_faces().select_related("station").order_by("starts_at", "id"))


def _counts(station: Station, of_day: QuerySet[Outing], day: date) -> dict[str, int]:
    """The day in numbers: one query."""
    plan = Plan.objects.of_day(station, day).filter(state=PlanState.ACCEPTED)
    jobs = Job.objects.filter(item__station=station, state__in=UNFINISHED)
    counts: dict[str, Coalesce] = {
        "to_come": _count(of_day.filter(state__in=NOT_YET_AFLOAT)),
        "done": _count(of_day.filter(state__in=(OutingState.ASHORE, OutingState.CLOSED))),
        "open_jobs": _count(jobs),
        "kit": _count(Item.objects.filter(station=station)),
        "unserved": Coalesce(Subquery(plan.values("unserved")[:1]), 0),
    }
    found = Station.objects.filter(pk=station.pk).values_list(*counts.values())
    return dict(zip(counts, found.get(), strict=True))


def _count(rows: QuerySet[Any]) -> Coalesce:
    counted = rows.order_by().values(one=Value(1)).annotate(count=Count("pk")).values("count")
    return Coalesce(Subquery(counted), 0)


def _rows(outings: Sequence[Outing], late: Mapping[int, checks.PhaseResult], now: datetime) -> list[Row]:
    kit: defaultdict[int, dict[str, KitPart]] = defaultdict(dict)
    for part in KitPart.objects.filter(outing__in=outings).in_force().with_items():
        kit[part.outing_id][part.part] = part
    return [
        Row(
            outing=outing,
            sail=_named(kit[outing.pk].get(Kind.SAIL)),
            board=_named(kit[outing.pk].get(Kind.BOARD)),
            next_step=NEXT_STEP.get(OutingState(outing.state), ""),
            trouble=_trouble(outing, kit[outing.pk].values(), now),
            lateness=late.get(outing.pk),
            to_issue=is_here([part for part in kit[outing.pk].values() if not part.issued_at]),
        )
        for outing in outings
    ]


def _named(part: KitPart | None) -> str:
    return f"{part.item.model.name} ({part.item.tag})" if part else ""


def _is_late(lateness: checks.PhaseResult | None) -> bool:
    return lateness is not None and lateness.phase is not checks.Phase.ON_TIME


def _trouble(outing: Outing, parts: Collection[KitPart], now: datetime) -> str:
    """Return what stands against a kit: none in time, out of use, or not back though its rider is."""
    if outing.state == OutingState.ASHORE:
        out = [part.item.tag for part in parts if part.issued_at and not part.returned_at]
        return f"not back yet: {', '.join(out)}" if out else ""
    if outing.state not in NOT_YET_AFLOAT:
        return ""
    if not parts and outing.starts_at - now < KIT_BY:
        return "no kit yet"
    gone = [part.item for part in parts if part.item.state in OUT_OF_USE]
    if not gone and outing.starts_at - now < KIT_BY:
        others = [
            part.item.tag for part in parts if not part.issued_at and part.item.state == ItemState.ISSUED
        ]
        return f"still out: {', '.join(others)}" if others else ""
    return "; ".join(f"{item.tag} is {item.state.replace('_', ' ')}" for item in gone)


def is_here(parts: Collection[KitPart]) -> bool:
    """Say whether a kit can be handed over as it lies."""
    return bool(parts) and all(part.item.state in AT_HAND for part in parts)


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


@dataclass(frozen=True, slots=True)
class PartyToday:
    """A party of today with its outings, as it is found and as its kit is handed over."""

    booking: Booking
    rows: tuple[Row, ...]

    @property
    def to_issue(self) -> tuple[Row, ...]:
        """Riders whose kit is chosen and still here."""
        return tuple(row for row in self.rows if row.to_issue and row.is_to_come and not row.trouble)


@dataclass(frozen=True, slots=True)
class Found:
    """What a few letters or a scanned tag may mean."""

    parties: tuple[PartyToday, ...]
    riders: tuple[Rider, ...]
    items: tuple[Item, ...]

    @property
    def count(self) -> int:
        """How many things were found."""
        return len(self.parties) + len(self.riders) + len(self.items)


def find(actor: Actor, station: Station, words: str, *, now: datetime) -> Found:
    """Return today's parties, other riders and items that letters or a tag may mean: four queries.

    A tag that is hit exactly leaves everything else out. What a label's code carries is an address that ends
    in the tag.
    """
    words = words.strip()
    tag = unquote(words.rstrip("/").rpartition("/")[2])
    items = Item.objects.visible_to(actor).filter(station=station).select_related("model")
    exact = items.filter(tag__iexact=tag).first() if tag else None
    if exact is not None:
        return Found((), (), (exact,))
    if len(words) < FEWEST_LETTERS:
        return Found((), (), ())
    start, end = day_bounds(station.local(now).date(), station.zone)
    today = Outing.objects.visible_to(actor).filter(station=station).between(start, end).with_faces()
    today = today.exclude(state__in=(*DROPPED, OutingState.CLOSED))
    known = Q(rider__name__icontains=words) | Q(booking__party__contact_name__icontains=words)
    outings = list(today.filter(known)[:MOST_FOUND])
    riders = Rider.objects.visible_to(actor).filter(station=station).named(words)
    others = riders.exclude(pk__in=[outing.rider_id for outing in outings]).order_by("name", "id")
    named = items.filter(Q(tag__istartswith=words) | Q(model__name__icontains=words)).order_by("tag")
    return Found(_parties(outings, now), tuple(others[:MOST_FOUND]), tuple(named[:MOST_FOUND]))


def party_today(actor: Actor, station: Station, booking_id: int, *, now: datetime) -> PartyToday:
    """Return the outings of a booking with their kit, up to today's: two queries.

    Raises:
        NotVisible: there is none there for this actor.
    """
    outings = Outing.objects.visible_to(actor).filter(station=station, booking_id=booking_id).with_faces()
    _start, end = day_bounds(station.local(now).date(), station.zone)
    outings = outings.exclude(state__in=DROPPED).filter(starts_at__lt=end).order_by("starts_at", "id")
    parties = _parties(list(outings), now)
    if not parties:
        raise NotVisible("There is no such booking here.")
    return parties[0]


def _parties(outings: Sequence[Outing], now: datetime) -> tuple[PartyToday, ...]:
    rows: defaultdict[int, list[Row]] = defaultdict(list)
    for row in _rows(outings, {}, now) if outings else ():
        rows[row.outing.booking_id].append(row)
    return tuple(PartyToday(mine[0].outing.booking, tuple(mine)) for mine in rows.values())


@dataclass(frozen=True, slots=True)
class FirstStep:
    """Something that a new station wants before its first guests: what, why, the page for it, and if done."""

    name: str
    why: str
    address: str
    done: bool


def first_steps(station: Station, day: date) -> tuple[FirstStep, ...]:
    """Return what a station has been given on a day and what it still wants: one query."""
    staff = Posting.objects.on(day).filter(station=station)
    found: dict[str, Any] = {
        "staff": Exists(staff.filter(role=Role.INSTRUCTOR)),
        "kit": Exists(Item.objects.filter(station=station)),
        "price": Exists(Price.objects.filter(good__station=station)),
        "contact": Exists(WatchContact.objects.filter(station=station)),
        "wind": Exists(Source.objects.filter(station=station)) | Exists(Run.objects.filter(station=station)),
        "crew": Exists(Crew.objects.filter(station=station)),
    }
    done = Station.objects.filter(pk=station.pk).annotate(**found).values(*found).get()
    return tuple(FirstStep(*step, done[key]) for key, step in zip(found, FIRST_STEPS, strict=True))


def demo_made(station_id: int) -> Mapping[str, list[int]]:
    """Return what the demo put into a station and was not removed since: one query.

    Raises:
        NotVisible: there is no demo here.
    """
    loaded = demo_of(station_id)
    if loaded is None or loaded.kind != ErrandKind.LOAD_DEMO or loaded.is_under_way:
        raise NotVisible("There is no demo here to remove.")
    return dict(loaded.result or {})


def demo_of(station_id: int) -> Errand | None:
    """Return the loading of the demo that is in force or under way, or its removal; None for neither.

    A removal that is under way does not count yet: until it is done the demo is there.
    """
    known = Errand.objects.filter(station_id=station_id, kind=ErrandKind.LOAD_DEMO).alive()
    removed = Errand.objects.filter(station_id=station_id, kind=ErrandKind.REMOVE_DEMO, state="done")
    return (known | removed).order_by("-asked_at", "-id").first()


FIRST_STEPS = (
    ("Staff", "An instructor, without whom nobody is let go afloat.", "station"),
    ("Kit", "The shed as a sheet: you see what each row becomes before it is taken in.", "shed"),
    ("Prices", "Money terms, a tax, then what you rent and teach.", "prices"),
    ("Who is told", "Whom to reach, one after the other, when a rider is overdue.", "safety"),
    ("Wind", "Where the forecast comes from.", "weather"),
    ("Rig-up crew", "Who builds rigs, and from when: the day plan reckons with it.", "rig-crew"),
)


@dataclass(frozen=True, slots=True)
class Offer:
    """What a party may be told before it is booked: whether the shed serves it, when else, and the price.

    `unsaid` and `unpriced` say why there is no promise or no price; both are empty beside no price where the
    station has no price list.
    """

    riders: tuple[Rider, ...]
    promise: dayplan.Promise | None = None
    unsaid: str = ""
    price: takings.Quote | None = None
    unpriced: str = ""
    starts: tuple[tuple[datetime, bool], ...] = ()

    @property
    def short(self) -> tuple[tuple[str, str, dayplan.ShortOf], ...]:
        """Who goes short: the wind, the rider's name, and why."""
        outlooks = self.promise.outlooks if self.promise else ()
        return tuple(
            (each.wind, self.riders[short.place].name, short) for each in outlooks for short in each.short
        )


def wished(actor: Actor, station: Station, asked: Sequence[RiderFacts | int]) -> tuple[Rider, ...] | None:
    """Return the riders of a form, those known here and those who are not kept yet; None for an unknown one.

    One query.
    """
    ids = [each for each in asked if isinstance(each, int) and each < MOST_ID]
    known: dict[int, Rider] = Rider.objects.visible_to(actor).filter(station=station).in_bulk(ids)
    riders = [known.get(each) if isinstance(each, int) else _as_rider(station, each) for each in asked]
    return None if None in riders else tuple(rider for rider in riders if rider is not None)


def _as_rider(station: Station, facts: RiderFacts) -> Rider:
    return Rider(
        station=station,
        name=facts.name,
        born_on=facts.born_on,
        mass_kg=facts.mass_kg,
        stature_cm=facts.stature_cm,
        level=facts.level,
        swims=facts.swims,
    )


def offer(station: Station, wish: dayplan.Wish, *, elsewhen: bool, now: datetime) -> Offer:
    """Return what a party may be told: twenty queries, eight of them for other starts.

    Args:
        station: where.
        wish: the party.
        elsewhen: whether to look at every full hour of the day too.
        now: the moment.
    """
    said: dict[str, Any] = _price(station, wish, now)
    if elsewhen:
        said["starts"] = dayplan.open_starts(station, wish, _full_hours(station, wish), now=now)
    try:
        said["promise"] = dayplan.promise(station, wish, now=now)
    except dayplan.UnableToSay as refused:
        said["unsaid"] = refused.sentence
    return Offer(wish.riders, **said)


def _price(station: Station, wish: dayplan.Wish, now: datetime) -> dict[str, Any]:
    try:
        takings.terms_of(station)
    except takings.UnableToQuote:
        return {}
    try:
        quote = takings.quote_booking(
            station,
            kind=wish.kind,
            riders=len(wish.riders),
            starts_at=wish.starts_at,
            ends_at=wish.ends_at,
            as_of=now,
        )
    except takings.UnableToQuote as refused:
        return {"unpriced": refused.sentence}
    return {"price": quote}


def _full_hours(station: Station, wish: dayplan.Wish) -> list[datetime]:
    """Full hours of the day from which the party would be done by closing."""
    day, span = station.local(wish.starts_at).date(), wish.ends_at - wish.starts_at
    hours = [datetime.combine(day, time(hour), station.zone) for hour in range(station.opens.hour, 24)]
    closes = datetime.combine(day, station.closes, station.zone)
    return [start for start in hours if start.time() >= station.opens and start + span <= closes]


def named_here(actor: Actor, station: Station, pasted: Sequence[Pasted]) -> dict[str, str]:
    """Return how the booking form names the riders of a list whom we know by name, and by birth date if said.

    One query.
    """
    names = {each.name: each.fields.get("born_on") for each in pasted if each.name}
    found: defaultdict[str, list[Rider]] = defaultdict(list)
    for rider in Rider.objects.visible_to(actor).filter(station=station, name__in=names):
        if names[rider.name] in (None, rider.born_on.isoformat()):
            found[rider.name].append(rider)
    return {name: f"{name} #{riders[0].pk}" for name, riders in found.items() if len(riders) == 1}
