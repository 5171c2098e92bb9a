"""A station's day gathered for its plan, and its plans as the rig-up page shows them."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from time import perf_counter
from typing import Final

from django.db.models import QuerySet

from rentals.bookings.models import Booking, KitPart, Outing
from rentals.bookings.states import DROPPED, NOT_YET_AFLOAT
from rentals.dayplan.mapping.day import DayRows, day_problem
from rentals.dayplan.mapping.shown import Shown, shown
from rentals.dayplan.models import Plan, RigTask
from rentals.dayplan.states import SOLVED, UNDER_WAY, PlanState
from rentals.fleet.models import RIG_PARTS, Hold, Item, Kind, Rig
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible, Refused
from rentals.lib.when import day_bounds
from rentals.people.models import Rider
from rentals.stations import queries as stations
from rentals.stations.models import Station
from rentals.weather import queries as weather
from rigging import wind

WINDS: Final = {"light": 0.75, "middle": 1.0, "strong": 1.25}
"""Winds in which a promise is looked at, as shares of the forecast: about the spread of one a day ahead.
Status: policy; common practice, no source."""

PROMISE_S: Final = 3.0
"""Time limit of a promise, all winds together. Status: policy."""


class UnableToSay(Refused):
    """Nothing can be said about a party at that time."""

    slug = "promise-refused"
    title = "Nothing can be promised yet"


def day_rows(station: Station, day: date, *, now: datetime) -> DayRows:
    """Return what the rows say of a station's day: seven queries, however many outings."""
    start, end = day_bounds(day, station.zone)
    outings = tuple(
        Outing.objects.filter(station=station)
        .between(start, end)
        .exclude(state__in=DROPPED)
        .with_faces()
        .select_related("station")
    )
    kit: defaultdict[int, dict[Kind, KitPart]] = defaultdict(dict)
    for part in KitPart.objects.filter(outing__in=outings).in_force().with_items():
        kit[part.outing_id][Kind(part.part)] = part
    holds = Hold.objects.overlapping(start, end).filter(item__station=station)
    rigs = Rig.objects.filter(station=station, derigged_at=None).order_by("id")
    items = Item.objects.filter(station=station).fit_to_give().select_related("model")
    return DayRows(
        station=station,
        day=day,
        now=now,
        outings=outings,
        kit=dict(kit),
        items=tuple(items.order_by("model_id", "water_s", "tag")),
        holds=tuple(holds.order_by("starts_at", "id")),
        rigs=tuple(rigs.select_related("sail", "mast", "extension", "boom", "base")),
        hours=weather.hours_between(station, start, end),
        policy=stations.policy_of(station),
    )


@dataclass(frozen=True, slots=True)
class TaskRow:
    """One rig of the crew's list, and how it stands against the clock."""

    task: RigTask
    riders: tuple[str, ...]
    late: bool
    behind: bool

    @property
    def parts(self) -> tuple[tuple[str, Item], ...]:
        """Its parts in the order of the rack."""
        task = self.task
        named = {"mast": task.mast, "extension": task.extension, "boom": task.boom, "base": task.base}
        return tuple(named.items())


@dataclass(frozen=True, slots=True, kw_only=True)
class RigUp:
    """The rig-up page of a day: plans, the one shown, and the crew's list of the one in force."""

    day: date
    plans: tuple[Plan, ...]
    shown: Shown | None
    in_force: Plan | None
    under_way: Plan | None
    failed: Plan | None
    tasks: tuple[TaskRow, ...]
    since: tuple[str, ...]

    @property
    def late(self) -> tuple[TaskRow, ...]:
        """Rigs whose rider waits."""
        return tuple(row for row in self.tasks if row.late)

    @property
    def built(self) -> int:
        """How many rigs of the list are ticked off."""
        return sum(row.task.ticked_at is not None for row in self.tasks)


def rig_up(station: Station, day: date, *, number: int | None = None, now: datetime) -> RigUp:
    """Return the rig-up page of a station's day: four queries, however many riders and rigs."""
    plans = tuple(
        Plan.objects.of_day(station, day).defer("inputs", "result", "basis").select_related("made_by")
    )
    in_force = next((plan for plan in plans if plan.state == PlanState.ACCEPTED), None)
    outings = _outings_of(station, day)
    chosen = _chosen(plans, number)
    plan = chosen and Plan.objects.select_related("basis", "made_by", "accepted_by").get(pk=chosen.pk)
    laid_out = shown(plan, outings) if plan else None
    return RigUp(
        day=day,
        plans=plans,
        shown=laid_out,
        in_force=in_force,
        under_way=next((each for each in plans if each.state in UNDER_WAY), None),
        failed=plans[0] if plans and plans[0].state == PlanState.FAILED else None,
        tasks=_tasks(plan, laid_out, now) if plan and laid_out and plan.state == PlanState.ACCEPTED else (),
        since=tuple(_since(plan, outings, now)) if plan else (),
    )


def plan_for(actor: Actor, station: Station, plan_id: int) -> Plan:
    """Return a plan of a station: one query.

    Raises:
        NotVisible: there is none there for this actor.
    """
    plan = Plan.objects.visible_to(actor).filter(station=station, pk=plan_id).first()
    if plan is None:
        raise NotVisible("There is no such plan here.")
    return plan


def visible_plan(actor: Actor, plan_id: int) -> Plan:
    """Return a plan that the actor may see, with station and basis: one query.

    Raises:
        NotVisible: there is none for this actor.
    """
    plan = Plan.objects.visible_to(actor).select_related("station", "basis").filter(pk=plan_id).first()
    if plan is None:
        raise NotVisible("There is no such plan here.")
    return plan


def laid_out(plan: Plan) -> Shown | None:
    """Return a plan laid out, None before it is solved: one query.

    Args:
        plan: with station and basis at hand.
    """
    return shown(plan, _outings_of(plan.station, plan.day)) if plan.result is not None else None


def tasks() -> QuerySet[RigTask]:
    """Return rigs of the crews' lists with their parts, in order."""
    parts = (f"{part.value}__model" for part in RIG_PARTS)
    return RigTask.objects.order_by("plan", "place").select_related("ticked_by", *parts)


def _outings_of(station: Station, day: date) -> dict[int, Outing]:
    """A day's outings by id, those called off too: one query."""
    start, end = day_bounds(day, station.zone)
    found = Outing.objects.filter(station=station).between(start, end).with_faces()
    return {outing.pk: outing for outing in found}


def _chosen(plans: Sequence[Plan], number: int | None) -> Plan | None:
    """The solved plan asked for by number, else the newest that is ready, else the one in force."""
    solved = [plan for plan in plans if plan.state in SOLVED]
    asked = next((plan for plan in solved if plan.number == number), None)
    ready = next((plan for plan in solved if plan.state == PlanState.READY), None)
    return asked or ready or next((plan for plan in solved if plan.state == PlanState.ACCEPTED), None)


def _tasks(plan: Plan, laid: Shown, now: datetime) -> tuple[TaskRow, ...]:
    riders = {tag: row.riders for row in laid.rigs for part, _, tag in row.parts if part == Kind.SAIL}
    return tuple(
        TaskRow(
            task=task,
            riders=riders.get(task.sail.tag, ()),
            late=task.ticked_at is None and task.needed_at <= now,
            behind=task.ticked_at is None and task.due_at <= now < task.needed_at,
        )
        for task in tasks().filter(plan=plan)
    )


def _since(plan: Plan, outings: Mapping[int, Outing], now: datetime) -> Iterator[str]:
    """What has changed since a plan was asked for, as far as names tell."""
    known = {int(demand["id"]) for demand in plan.inputs["demands"]}
    known |= {each["outing_id"] for each in plan.aside}
    for outing in outings.values():
        if outing.pk in known and outing.state in DROPPED:
            yield f"{outing.rider} does not come."
        elif outing.pk not in known and outing.state in NOT_YET_AFLOAT and outing.starts_at > now:
            yield f"{outing.rider} was booked."


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """A party that asks: what it wants, when, and its riders, who need not be kept yet."""

    kind: str
    starts_at: datetime
    ends_at: datetime
    riders: tuple[Rider, ...]


@dataclass(frozen=True, slots=True)
class ShortOf:
    """A rider of the party who would go short: their place in it, why, and what it would take."""

    place: int
    reason: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Outlook:
    """The party in one wind; `sure` says that no plan would serve more of it."""

    wind: str
    share: float
    sure: bool
    short: tuple[ShortOf, ...]


@dataclass(frozen=True, slots=True)
class Promise:
    """Whether a party may be promised: the day with everybody booked first, in each wind."""

    outlooks: tuple[Outlook, ...]

    @property
    def holds(self) -> bool:
        """Whether all are served in every wind."""
        return not any(outlook.short for outlook in self.outlooks)

    @property
    def text(self) -> str:
        """The answer as a sentence. Staff may book against it with a reason; nobody books so from home."""
        if self.holds:
            return "Everybody gets a rig, in light, middle and strong wind."
        said = [f"{each.wind} wind {len(each.short)}" for each in self.outlooks if each.short]
        return f"Without a rig would be: in {', in '.join(said)}."


def promise(station: Station, wish: Wish, *, now: datetime) -> Promise:
    """Say whether a party can be served beside those booked, in each of the winds: seven queries.

    Raises:
        UnableToSay: the time is over, begins too soon for a plan, or no forecast covers it.
    """
    # The solver is heavy to load, and few requests need it.
    from rigging.allot.promise import promise as looked_at

    rows = day_rows(station, station.local(wish.starts_at).date(), now=now)
    party = _as_outings(station, wish, now)
    rows = replace(rows, outings=(*rows.outings, *party))
    days = {}
    for name, share in WINDS.items():
        problem, aside = day_problem(replace(rows, hours=tuple(_scaled(rows.hours, share))))
        known = {demand.id for demand in problem.demands}
        missing = [each.why for each in aside if each.outing_id in {outing.pk for outing in party}]
        if missing and not {str(outing.pk) for outing in party} & known:
            raise UnableToSay.at("starts_at", missing[0])
        days[name] = problem
    told = looked_at(days, frozenset(str(outing.pk) for outing in party), PROMISE_S, perf_counter)
    return Promise(
        tuple(
            Outlook(
                wind=each.wind,
                share=WINDS[each.wind],
                sure=each.sure,
                short=tuple(
                    ShortOf(-int(short.demand) - 1, short.reason.text, short.remedy or "")
                    for short in each.short
                ),
            )
            for each in told.outlooks
        )
    )


def _as_outings(station: Station, wish: Wish, now: datetime) -> list[Outing]:
    """The party as outings that are kept nowhere, numbered down from -1."""
    booking = Booking(pk=-1, kind=wish.kind, booked_at=now)
    return [
        Outing(
            pk=-1 - place,
            station=station,
            booking=booking,
            rider=rider,
            starts_at=wish.starts_at,
            ends_at=wish.ends_at,
        )
        for place, rider in enumerate(wish.riders)
    ]


def _scaled(hours: Sequence[wind.Hour], share: float) -> Iterator[wind.Hour]:
    for hour in hours:
        gust = None if hour.gust_ms is None else hour.gust_ms * share
        yield replace(hour, mean_ms=hour.mean_ms * share, gust_ms=gust)
