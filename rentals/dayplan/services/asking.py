"""Asking for a plan, asking again with one rider's sail chosen, and giving a plan up."""

from contextlib import suppress
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Final
from uuid import UUID

from django.db import IntegrityError, transaction
from django.db.models import Max
from kombu.exceptions import OperationalError

from rentals.audit import services as journal
from rentals.bookings.models import Outing
from rentals.celery import app as worker
from rentals.dayplan import queries
from rentals.dayplan.mapping import kits
from rentals.dayplan.mapping.day import FORMULAS, day_problem
from rentals.dayplan.models import Plan
from rentals.dayplan.services.moving import UnableToMovePlan, move_plan, tell, visible_plan
from rentals.dayplan.states import UNDER_WAY, PlanEvent, PlanState
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Refused
from rentals.lib.writes import inside_write, savepoint, write
from rentals.stations.models import Station
from rigging.allot.jsonform import from_problem, to_plan, to_problem
from rigging.allot.plan import Plan as Solved
from rigging.allot.problem import Demand, Priority, Problem

TASK: Final = "dayplan.solve"

CALL_HOLDS: Final = timedelta(seconds=60)
"""How long a call to the worker is worth heeding; the row waits longer."""


class UnableToPlan(Refused):
    """There is nothing to plan, or what is asked for cannot be."""

    slug = "plan-refused"
    title = "Check what is asked"


@write
def ask_for_plan(
    *, actor: Actor, station_id: int, day: date, once: UUID | None = None, now: datetime
) -> Plan:
    """Ask for a plan of the rest of a day; a worker solves it.

    What riders have with them stays theirs; kit that was chosen is a promise, kept where it can be.

    Raises:
        UnableToPlan: nobody is left to plan for.
        UnableToMovePlan: a plan of that day is being made already.
    """
    actor.require(Act.PLAN_DAY, station_id=station_id)
    claim = journal.claim(actor=actor, act=Act.PLAN_DAY, key=once, asked=[station_id, day], now=now)
    if claim.result_id is not None:
        return Plan.objects.get(pk=claim.result_id)
    plan = _asked(actor, Station.objects.get(pk=station_id), day, now)
    journal.settle(claim, plan.pk)
    return plan


@inside_write
def plan_again(*, actor: Actor, station: Station, day: date, now: datetime) -> Plan | None:
    """Ask for a new plan of a day as part of another write that changed what there is to give.

    One that is being made already is given up: it was asked of kit that is not there any more. Returns None
    where nobody is left to plan for.
    """
    for plan in Plan.objects.of_day(station, day).filter(state__in=UNDER_WAY):
        move_plan(plan, PlanEvent.CANCEL, words="Cancelled: kit was called back.")
        tell(actor, Act.PLAN_DAY, plan, f"Cancelled plan {plan.number} of {plan.day}", now)
    with suppress(UnableToPlan):
        return _asked(actor, station, day, now)
    return None


@inside_write
def _asked(actor: Actor, station: Station, day: date, now: datetime) -> Plan:
    problem, aside = day_problem(queries.day_rows(station, day, now=now))
    out = {hold.demand for hold in problem.frozen}
    if all(demand.id in out for demand in problem.demands):
        why = f" {aside[0].why}" if aside else ""
        raise UnableToPlan.at("day", f"Nobody is left to plan for on that day.{why}")
    asked = Plan(
        station=station,
        day=day,
        inputs=from_problem(problem),
        aside=[{"outing_id": each.outing_id, "why": each.why} for each in aside],
        basis=Plan.objects.of_day(station, day).filter(state=PlanState.ACCEPTED).first(),
    )
    return _keep(actor, asked, now)


@write
def adjust_plan(
    *, actor: Actor, plan_id: int, outing_id: int, sail: str, once: UUID | None = None, now: datetime
) -> Plan:
    """Ask for a ready plan once more with one rider's sail chosen by hand; everybody else is a promise.

    The first plan stays ready, so that both can be looked at before one is accepted.

    Raises:
        UnableToPlan: the plan does not serve that rider, or the sail is not among those safe for them.
        UnableToMovePlan: the plan is not ready, or another is being made.
    """
    plan = visible_plan(actor, plan_id)
    actor.require(Act.PLAN_DAY, station_id=plan.station_id)
    asked = [plan_id, outing_id, sail]
    claim = journal.claim(actor=actor, act=Act.PLAN_DAY, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Plan.objects.get(pk=claim.result_id)
    if plan.state != PlanState.READY:
        raise UnableToMovePlan(f"The plan is {plan.state}. Ask for a new one and change that.")
    problem = to_problem(plan.inputs)
    outing = Outing.objects.filter(pk=outing_id, station_id=plan.station_id).select_related("rider").first()
    wish = next((demand for demand in problem.demands if demand.id == str(outing_id)), None)
    if outing is None or wish is None:
        raise UnableToPlan.at("outing", "The plan does not speak of that rider. Choose one from its list.")
    if sail not in wish.sails or str(outing_id) in {hold.demand for hold in problem.frozen}:
        raise UnableToPlan.at("sail", f"That sail is not safe for {outing.rider} or not in the shed.")
    pinned = _pinned(problem, to_plan(plan.result, problem), wish, sail)
    made = Plan(
        station_id=plan.station_id,
        day=plan.day,
        inputs=from_problem(pinned),
        aside=plan.aside,
        basis=plan,
        note=f"{outing.rider}: {sail}, by hand",
    )
    kept = _keep(actor, made, now)
    journal.settle(claim, kept.pk)
    return kept


@write
def cancel_plan(*, actor: Actor, plan_id: int, now: datetime) -> Plan:
    """Give a plan up that is being made or waits for acceptance; what is in force stays so.

    Raises:
        UnableToMovePlan: it was accepted or given up already.
    """
    plan = visible_plan(actor, plan_id)
    actor.require(Act.PLAN_DAY, station_id=plan.station_id)
    move_plan(plan, PlanEvent.CANCEL, words="Cancelled.")
    tell(actor, Act.PLAN_DAY, plan, f"Cancelled plan {plan.number} of {plan.day}", now)
    return plan


@inside_write
def _keep(actor: Actor, plan: Plan, now: datetime) -> Plan:
    """Write a plan that waits, and tell a worker once it is committed."""
    earlier = Plan.objects.filter(station_id=plan.station_id, day=plan.day)
    under_way = "A plan of that day is being made already. Wait for it, or cancel it."
    if earlier.filter(state__in=UNDER_WAY).exists():
        raise UnableToMovePlan(under_way)
    plan.number = (earlier.aggregate(last=Max("number"))["last"] or 0) + 1
    plan.formulas, plan.made_by_id, plan.asked_at = FORMULAS, actor.user_id, now
    plan.words = "Waiting for the worker."
    try:
        with savepoint():
            plan.save()
    except IntegrityError as error:
        raise UnableToMovePlan(under_way) from error
    note = f" ({plan.note})" if plan.note else ""
    tell(actor, Act.PLAN_DAY, plan, f"Asked for plan {plan.number} of {plan.day}{note}", now)
    transaction.on_commit(_call_worker)
    return plan


def _call_worker() -> None:
    """Say "look now"; when nobody listens, the periodic look finds the row."""
    with suppress(OperationalError, OSError):
        worker.send_task(TASK, expires=CALL_HOLDS.total_seconds(), retry=False)


def _pinned(problem: Problem, solved: Solved, wish: Demand, sail: str) -> Problem:
    """The problem with one rider's sail settled before all others, whose kit by the plan is a promise."""
    names = {
        unit.tag: stock.name for _, stocks in problem.stocks() for stock in stocks for unit in stock.units
    }
    told = {each.demand: (names[each.sail], names[each.board]) for each in kits.to_hand_out(solved)}
    demands = tuple(
        replace(demand, sails={sail: demand.sails[sail]}, promised=None, firm=True, priority=Priority.LESSON)
        if demand.id == wish.id
        else replace(demand, promised=told.get(demand.id, demand.promised))
        for demand in problem.demands
    )
    return replace(problem, demands=demands)
