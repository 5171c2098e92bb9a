"""A day's plans as the rig-up page shows them."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import QuerySet

from rentals.bookings.models import Outing
from rentals.bookings.states import DROPPED, NOT_YET_AFLOAT
from rentals.dayplan.mapping.shown import Shown, shown
from rentals.dayplan.models import Plan, RigTask
from rentals.dayplan.states import SOLVED, UNDER_WAY, PlanState
from rentals.fleet.models import RIG_PARTS, Item, Kind
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.lib.when import day_bounds
from rentals.stations.models import Station


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
    """Return the rig-up page of a station's day: five queries, however many riders and rigs."""
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


def tasks_of(plan: Plan) -> list[RigTask]:
    """Return the rigs of a plan's list with their parts, in order: two queries."""
    return _with_parts(RigTask.objects.filter(plan=plan).order_by("place"))


def task(task_id: int) -> RigTask:
    """Return a rig of a list with its parts and its station: two queries."""
    (found,) = _with_parts(RigTask.objects.filter(pk=task_id).select_related("plan__station"))
    return found


def _with_parts(rows: QuerySet[RigTask]) -> list[RigTask]:
    """Read the parts by themselves: joined, they would be ten tables more, in which a database that has
    no statistics yet gets lost.
    """
    found = list(rows.select_related("ticked_by"))
    named = [f"{part.value}_id" for part in RIG_PARTS]
    keys = {getattr(row, name) for row in found for name in named}
    items = Item.objects.select_related("model").in_bulk(keys)
    for row in found:
        for part, name in zip(RIG_PARTS, named, strict=True):
            setattr(row, part.value, items[getattr(row, name)])
    return found


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
        for task in tasks_of(plan)
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
