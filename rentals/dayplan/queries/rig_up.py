"""A day's plans as the rig-up page shows them."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from typing import Any, NamedTuple

from django.db.models import Exists, OuterRef, QuerySet

from rentals.bookings.models import KitPart, Outing
from rentals.bookings.states import DROPPED, NOT_YET_AFLOAT, OutingState
from rentals.dayplan.mapping.long_lists import OF_THE_DAY, Cut, LongList, Stretch, Turn
from rentals.dayplan.mapping.shown import (
    AsideRow,
    Face,
    Layout,
    RiderRow,
    RigRow,
    ShortRow,
    Shown,
    shown,
    who,
)
from rentals.dayplan.models import Plan, RigTask
from rentals.dayplan.states import SOLVED, UNDER_WAY, PlanState
from rentals.fleet.models import RIG_PARTS, Item, Kind
from rentals.fleet.states import ItemState
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.lib.when import day_bounds
from rentals.stations.models import Station
from rigging.allot.jsonform import Json
from rigging.drawing.daychart import Lane

NOT_BACK = (*NOT_YET_AFLOAT, OutingState.AFLOAT)
MOST_TICKED = 5
"""How many of the rigs last ticked off stay on the list, so that a tick is taken back where it was made."""


class Mark(NamedTuple):
    """How a rig of the crew's list stands, as far as that says when it has its turn."""

    task_id: int
    due_at: datetime
    needed_at: datetime
    ticked_at: datetime | None
    sail_state: str
    went: bool

    @property
    def is_done(self) -> bool:
        """Whether the rig was built: it is ticked off, or has been with a rider."""
        return self.ticked_at is not None or self.went or self.sail_state == ItemState.ISSUED


@dataclass(frozen=True, slots=True)
class TaskRow:
    """One rig of the crew's list, and how it stands against the clock."""

    task: RigTask
    riders: tuple[str, ...]
    late: bool
    behind: bool
    went: bool

    @property
    def parts(self) -> tuple[tuple[str, Item], ...]:
        """Its parts in the order of the rack."""
        task = self.task
        named = {"mast": task.mast, "extension": task.extension, "boom": task.boom, "base": task.base}
        return tuple(named.items())


@dataclass(frozen=True, slots=True)
class CrewList:
    """The rigs that the crew builds: those shown, and how the whole list stands."""

    rows: Stretch[TaskRow]
    built: int
    late_in_all: int

    @property
    def late(self) -> tuple[TaskRow, ...]:
        """Rigs shown whose rider waits."""
        return tuple(row for row in self.rows.rows if row.late)

    @property
    def late_unseen(self) -> int:
        """How many late rigs are not among those shown."""
        return self.late_in_all - len(self.late)


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A solved plan with what the page shows of each of its lists."""

    plan: Plan
    quality: str
    riders: Stretch[RiderRow]
    short: Stretch[ShortRow]
    other_kit: Stretch[AsideRow]
    aside: Stretch[AsideRow]
    rigs: Stretch[RigRow]
    lanes: tuple[Lane, ...]
    basis: int | None
    cost: Stretch[str]
    since: Stretch[str]
    crew: CrewList | None

    def stretch(self, which: LongList) -> Stretch[Any]:
        """What is shown of a list; nothing of the crew's while the plan is not in force."""
        if which is LongList.RIGS:
            return self.crew.rows if self.crew else Stretch((), 0)
        lists: dict[LongList, Stretch[Any]] = {
            LongList.RIDERS: self.riders,
            LongList.SHORT: self.short,
            LongList.OTHER_KIT: self.other_kit,
            LongList.ASIDE: self.aside,
            LongList.DRAWN: self.rigs,
            LongList.COST: self.cost,
            LongList.SINCE: self.since,
        }
        return lists[which]


@dataclass(frozen=True, slots=True, kw_only=True)
class RigUp:
    """The rig-up page of a day: plans, and the one shown with the crew's list when it is in force."""

    day: date
    plans: tuple[Plan, ...]
    laid: Laid | None
    in_force: Plan | None
    under_way: Plan | None
    failed: Plan | None


def rig_up(
    station: Station, day: date, *, number: int | None = None, cut: Cut = OF_THE_DAY, now: datetime
) -> RigUp:
    """Return the rig-up page of a station's day: seven queries, however many riders and rigs.

    Args:
        station: whose day.
        day: which.
        number: the plan to show; None for the newest that counts.
        cut: what is shown of each list.
        now: the moment.
    """
    plans = tuple(
        Plan.objects.of_day(station, day).defer("inputs", "result", "basis").select_related("made_by")
    )
    chosen = _chosen(plans, number)
    return RigUp(
        day=day,
        plans=plans,
        laid=_laid(station, chosen, cut, now) if chosen else None,
        in_force=next((plan for plan in plans if plan.state == PlanState.ACCEPTED), None),
        under_way=next((each for each in plans if each.state in UNDER_WAY), None),
        failed=plans[0] if plans and plans[0].state == PlanState.FAILED else None,
    )


def _laid(station: Station, chosen: Plan, cut: Cut, now: datetime) -> Laid:
    plan = Plan.objects.select_related("basis", "made_by", "accepted_by").get(pk=chosen.pk)
    faces = _faces_of(station, plan.day)
    layout = Layout(plan, faces)
    riders = cut.of(LongList.RIDERS, layout.riders(), partial(_turn_with_kit, layout))
    short = cut.of(LongList.SHORT, layout.short(), lambda line: _turn(faces[who(line)]))
    other_kit = cut.of(LongList.OTHER_KIT, layout.other_kit(), lambda told: _turn(faces[told[0]]))
    aside = cut.of(LongList.ASIDE, layout.aside(), lambda left: _turn(faces[left[0]]))
    rigs = cut.of(LongList.DRAWN, layout.rigs(), partial(_turn_of_rig, layout))
    shown_ids = {who(line) for line in (*riders.rows, *short.rows)}
    shown_ids |= {outing_id for outing_id, _ in (*other_kit.rows, *aside.rows)}
    outings = Outing.objects.filter(pk__in=shown_ids).select_related("rider").in_bulk()
    cost = layout.cost()
    return Laid(
        plan=plan,
        quality=layout.quality(),
        riders=riders.of(layout.rider_row(line, outings[who(line)]) for line in riders.rows),
        short=short.of(layout.short_row(line, outings[who(line)]) for line in short.rows),
        other_kit=other_kit.of(AsideRow(outings[outing_id], text) for outing_id, text in other_kit.rows),
        aside=aside.of(AsideRow(outings[outing_id], why) for outing_id, why in aside.rows),
        rigs=rigs.of(layout.rig_row(rig) for rig in rigs.rows),
        lanes=tuple(layout.lane(rig) for rig in rigs.rows),
        basis=cost.basis if cost else None,
        cost=cut.of(LongList.COST, cost.lines if cost else ()),
        since=cut.of(LongList.SINCE, tuple(_since(plan, faces, now))),
        crew=_crew_list(layout, cut, now) if plan.state == PlanState.ACCEPTED else None,
    )


def _turn(face: Face) -> Turn:
    return Turn.NEXT if face.state in NOT_YET_AFLOAT else Turn.DONE


def _turn_with_kit(layout: Layout, line: Json) -> Turn:
    """Whoever is out on a sail that the wind rules out is called in before anything else."""
    face = layout.faces[who(line)]
    if layout.is_ruled_out(line) and face.state in NOT_BACK:
        return Turn.FIRST
    return _turn(face)


def _turn_of_rig(layout: Layout, rig: Json) -> Turn:
    """A rig has its turn until the last of its riders is back."""
    states = {layout.faces[who(line)].state for line in layout.users.get(rig["id"], ())}
    return Turn.NEXT if states.intersection(NOT_BACK) else Turn.DONE


def _crew_list(layout: Layout, cut: Cut, now: datetime) -> CrewList:
    marks = _marks_of(layout.plan)
    ticked = sorted((mark.ticked_at, mark.task_id) for mark in marks if mark.ticked_at)
    fresh = {task_id for _, task_id in ticked[-MOST_TICKED:]}

    def late(mark: Mark) -> bool:
        return not mark.is_done and mark.needed_at <= now

    def turn(mark: Mark) -> Turn:
        if mark.task_id in fresh:
            return Turn.FIRST
        if mark.is_done:
            return Turn.DONE
        return Turn.NOW if late(mark) else Turn.NEXT

    rows = cut.of(LongList.RIGS, marks, turn)
    tasks = {task.pk: task for task in tasks_of(layout.plan, [mark.task_id for mark in rows.rows])}
    rigs = {rig["sail"]: rig["id"] for rig in layout.rigs()}
    return CrewList(
        rows=rows.of(
            TaskRow(
                task=tasks[mark.task_id],
                riders=layout.names_on(rigs.get(tasks[mark.task_id].sail.tag, "")),
                late=late(mark),
                behind=not mark.is_done and mark.due_at <= now < mark.needed_at,
                went=mark.ticked_at is None and mark.is_done,
            )
            for mark in rows.rows
        ),
        built=sum(mark.is_done for mark in marks),
        late_in_all=sum(late(mark) for mark in marks),
    )


def _marks_of(plan: Plan) -> list[Mark]:
    """How each rig of a plan's list stands, in order: one query."""
    went = KitPart.objects.filter(part=Kind.SAIL, item=OuterRef("sail"), issued_at__gte=plan.accepted_at)
    found = RigTask.objects.filter(plan=plan).order_by("place").annotate(went=Exists(went))
    fields = ("pk", "due_at", "needed_at", "ticked_at", "sail__state", "went")
    return [Mark(*values) for values in found.values_list(*fields)]


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


def tasks_of(plan: Plan, only: Sequence[int] | None = None) -> list[RigTask]:
    """Return the rigs of a plan's list with their parts, in order, all or those named: two queries."""
    listed = RigTask.objects.filter(plan=plan).order_by("place")
    return _with_parts(listed if only is None else listed.filter(pk__in=only))


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


def _faces_of(station: Station, day: date) -> dict[int, Face]:
    """What lists need of a day's outings by id, those called off too: one query."""
    start, end = day_bounds(day, station.zone)
    found = Outing.objects.filter(station=station).between(start, end)
    fields = ("pk", "starts_at", "ends_at", "state", "rider__name")
    return {face.outing_id: face for face in (Face(*values) for values in found.values_list(*fields))}


def _chosen(plans: Sequence[Plan], number: int | None) -> Plan | None:
    """The solved plan asked for by number, else the newest that is ready, else the one in force."""
    solved = [plan for plan in plans if plan.state in SOLVED]
    asked = next((plan for plan in solved if plan.number == number), None)
    ready = next((plan for plan in solved if plan.state == PlanState.READY), None)
    return asked or ready or next((plan for plan in solved if plan.state == PlanState.ACCEPTED), None)


def _since(plan: Plan, faces: Mapping[int, Face], now: datetime) -> Iterator[str]:
    """What has changed since a plan was asked for, as far as names tell."""
    known = {int(demand["id"]) for demand in plan.inputs["demands"]}
    known |= {each["outing_id"] for each in plan.aside}
    for face in faces.values():
        if face.outing_id in known and face.state in DROPPED:
            yield f"{face.rider} does not come."
        elif face.outing_id not in known and face.state in NOT_YET_AFLOAT and face.starts_at > now:
            yield f"{face.rider} was booked."
