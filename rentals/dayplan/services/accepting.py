"""Putting a plan in force: kit held and carded for every outing, all or nothing."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from uuid import UUID

from rentals.audit import services as journal
from rentals.bookings import services as bookings
from rentals.bookings.models import Outing
from rentals.bookings.states import NOT_YET_AFLOAT, OutingEvent, OutingState
from rentals.dayplan import queries
from rentals.dayplan.mapping import kits
from rentals.dayplan.mapping.day import Clock, DayRows
from rentals.dayplan.models import Plan, RigTask
from rentals.dayplan.services.moving import UnableToMovePlan, move_plan, tell, visible_plan
from rentals.dayplan.states import PlanEvent, PlanState
from rentals.fleet.models import RIG_PARTS, Kind
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Conflict
from rentals.lib.writes import inside_write, write
from rentals.rigs import services as rigs
from rigging.allot.jsonform import to_plan, to_problem
from rigging.allot.plan import Plan as Solved
from rigging.allot.problem import Problem


class UnableToAccept(Conflict):
    """The day has changed since the plan was made."""

    slug = "plan-changed"
    title = "The day has changed since"


@write
def accept_plan(*, actor: Actor, plan_id: int, once: UUID | None = None, now: datetime) -> Plan:
    """Put a ready plan in force: every outing's kit is held and carded, all or nothing.

    Raises:
        UnableToMovePlan: it is not ready.
        UnableToAccept: riders, items or the wind have changed since; the sentence names what.
    """
    plan = visible_plan(actor, plan_id)
    actor.require(Act.ACCEPT_PLAN, station_id=plan.station_id)
    claim = journal.claim(actor=actor, act=Act.ACCEPT_PLAN, key=once, asked=[plan_id], now=now)
    if claim.result_id is not None:
        return Plan.objects.get(pk=claim.result_id)
    if plan.state != PlanState.READY:
        raise UnableToMovePlan(f"The plan is {plan.state}. Reload the page.")
    problem = to_problem(plan.inputs)
    solved = to_plan(plan.result, problem)
    outings = _planned(problem)
    rows = queries.day_rows(plan.station, plan.day, now=now)
    given = _still_there(rows, problem, solved, outings)
    changes = kits.tidings(rows, solved, given, outings)
    served = {each.outing.pk for each in given}
    for outing in outings.values():
        if outing.pk not in rows.issued and outing.state in NOT_YET_AFLOAT:
            bookings.drop_kit(outing=outing, now=now)
            if outing.pk not in served and outing.state != OutingState.BOOKED:
                bookings.move_outing(outing, OutingEvent.UNKIT)
    for each in given:
        _give(actor, plan, rows, each, now)
    _supersede(actor, plan, now)
    move_plan(
        plan,
        PlanEvent.ACCEPT,
        accepted_at=now,
        accepted_by_id=actor.user_id,
        changes=changes,
        words="In force.",
    )
    _list_rigs(plan, problem, solved, given)
    text = f"Accepted plan {plan.number} of {plan.day}: kit for {len(given)}, {len(changes)} to be told"
    tell(actor, Act.ACCEPT_PLAN, plan, text, now)
    journal.settle(claim, plan.pk)
    return plan


@inside_write
def _planned(problem: Problem) -> dict[int, Outing]:
    """Outings that a plan gives kit to or takes it from, locked in one order where the database can."""
    out = {hold.demand for hold in problem.frozen}
    ids = [int(demand.id) for demand in problem.demands if demand.id not in out]
    found = (
        Outing.objects.filter(pk__in=ids)
        .select_related("station", "rider", "booking__party")
        .select_for_update(of=("self",))
        .order_by("pk")
    )
    return {outing.pk: outing for outing in found}


def _still_there(
    rows: DayRows, problem: Problem, solved: Solved, outings: Mapping[int, Outing]
) -> list[kits.Given]:
    """Return the plan's kits, if riders, items and wind are still as it needs them.

    Raises:
        UnableToAccept: they are not.
    """
    planned = set(outings)
    changed = list(kits.changed_since(rows, problem, solved, outings, planned))
    given = [] if changed else kits.kits_of(rows, solved, outings, planned)
    for each in given:
        slot = rows.slot(each.outing)
        if Kind.BASE not in each.items:
            changed.append(f"No mast base is left for {each.outing.rider}.")
        elif Kind.FIN not in each.items:
            changed.append(f"No fin is left for {each.items[Kind.BOARD]} of {each.outing.rider}.")
        elif not each.fit.ok:
            changed.append(f"The rig of {each.items[Kind.SAIL]} does not fit together any more.")
        elif slot is None:
            changed.append(f"No forecast covers the time of {each.outing.rider} any more.")
        else:
            changed += [f"{each.outing.rider}: {veto.text}" for veto in each.advice(rows, slot).vetoes]
    if changed:
        raise UnableToAccept(f"{' '.join(changed)} Nothing was taken; ask for a new plan.")
    return given


@inside_write
def _give(actor: Actor, plan: Plan, rows: DayRows, given: kits.Given, now: datetime) -> None:
    """Hold and card one outing's kit."""
    items, outing, slot = given.items, given.outing, rows.slot(given.outing)
    assert slot is not None  # noqa: S101 - a kit without a wind was refused
    try:
        bookings.put_kit(outing=outing, items={part: item.pk for part, item in items.items()}, now=now)
    except Conflict as refused:
        raise UnableToAccept(f"{outing.rider}: {refused.sentence} Nothing was taken.") from refused
    rigs.make_card(
        actor=actor,
        outing=outing,
        slot=slot,
        advice=given.advice(rows, slot),
        parts_reason=" ".join([f"Chosen by day plan {plan.number}.", *given.fit.warnings]),
        items=items,
        now=now,
    )
    text = f"Kit by day plan {plan.number}: {items[Kind.SAIL]} {items[Kind.SAIL].model.name}"
    line = journal.Line("outing", outing.pk, text, {part: item.tag for part, item in items.items()})
    journal.record(actor=actor, act=Act.ACCEPT_PLAN, station_id=outing.station_id, lines=[line], now=now)


@inside_write
def _supersede(actor: Actor, plan: Plan, now: datetime) -> None:
    """Take the day's other plans out of force; one of them at most was in it."""
    others = Plan.objects.filter(station_id=plan.station_id, day=plan.day).exclude(pk=plan.pk)
    for other in others.filter(state__in=(PlanState.ACCEPTED, PlanState.READY)).defer("inputs", "result"):
        move_plan(other, PlanEvent.SUPERSEDE, words=f"Plan {plan.number} took its place.")
        tell(actor, Act.ACCEPT_PLAN, other, f"Plan {plan.number} took the place of {other.number}", now)


@inside_write
def _list_rigs(plan: Plan, problem: Problem, solved: Solved, given: Sequence[kits.Given]) -> None:
    """Write the crew's list in its order."""
    clock = Clock(problem.origin)
    by_sail = {each.items[Kind.SAIL].tag: each.items for each in given}
    to_build = [rig for rig in solved.rig_up() if rig.sail in by_sail and rig.built_min and rig.needed_min]
    RigTask.objects.bulk_create(
        RigTask(
            plan=plan,
            place=place,
            **{kind.value: by_sail[rig.sail][kind] for kind in RIG_PARTS},
            starts_at=clock.moment((rig.built_min or (0, 0))[0]),
            due_at=clock.moment((rig.built_min or (0, 0))[1]),
            needed_at=clock.moment(rig.needed_min or 0),
        )
        for place, rig in enumerate(to_build, start=1)
    )
