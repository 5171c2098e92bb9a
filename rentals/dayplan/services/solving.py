"""The worker's side: taking a plan, telling how far it is, keeping what comes of it."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from rentals.dayplan.models import Plan
from rentals.dayplan.services.moving import tell
from rentals.dayplan.states import PlanState
from rentals.lib.access import Actor, System
from rentals.lib.writes import write
from rigging.allot.jsonform import Json, from_plan
from rigging.allot.plan import Plan as Solved
from rigging.allot.problem import Problem

SILENT_AFTER: Final = timedelta(seconds=60)
"""A worker not heard of for so long is taken for dead. Status: policy, over the time a solve may take."""

MOST_TRIES: Final = 2
"""Workers that may die over a plan before it is given up. Status: policy."""


@dataclass(frozen=True, slots=True)
class Errand:
    """A plan taken by one worker; another try of it has another number."""

    plan_id: int
    tries: int
    inputs: Json


@write
def take_plan(*, actor: Actor, now: datetime) -> Errand | None:
    """Take the oldest plan that waits, or whose worker has died; None when there is none.

    A plan over which workers have died twice is given up.
    """
    actor.require_system(System.SOLVE)
    for plan in Plan.objects.to_solve(now - SILENT_AFTER).defer("result")[:5]:
        mine = Plan.objects.filter(pk=plan.pk, state=plan.state, tries=plan.tries)
        if plan.tries >= MOST_TRIES:
            words = "The worker stopped in the middle of it, twice. What was in force stays in force."
            if mine.update(state=PlanState.FAILED, words=words):
                tell(actor, System.SOLVE, plan, f"Plan {plan.number} of {plan.day} failed: {words}", now)
        else:
            words = "The worker before stopped in the middle of it; trying again." if plan.tries else "Begun."
            changed = mine.update(
                state=PlanState.SOLVING, tries=plan.tries + 1, heartbeat_at=now, progress=0, words=words
            )
            if changed:
                return Errand(plan.pk, plan.tries + 1, plan.inputs)
    return None


@write
def beat(*, actor: Actor, errand: Errand, progress: int, words: str, now: datetime) -> bool:
    """Note that a worker is at a plan, and how far; False when the plan is not wanted from it any more."""
    actor.require_system(System.SOLVE)
    mine = Plan.objects.filter(pk=errand.plan_id, state=PlanState.SOLVING, tries=errand.tries)
    return bool(mine.update(heartbeat_at=now, progress=progress, words=words))


@write
def finish_plan(
    *, actor: Actor, errand: Errand, problem: Problem, solved: Solved, seconds: float, now: datetime
) -> bool:
    """Keep what came of a plan; False when it was cancelled or taken over meanwhile."""
    actor.require_system(System.SOLVE)
    score = solved.score
    mine = Plan.objects.filter(pk=errand.plan_id, state=PlanState.SOLVING, tries=errand.tries)
    changed = mine.update(
        state=PlanState.READY,
        progress=100,
        words="Solved.",
        result=from_plan(solved, problem),
        solved_at=now,
        seconds=seconds,
        objective=score.value,
        bound=solved.bound,
        gap=solved.gap,
        proven=solved.proven,
        served=score.served,
        unserved=len(solved.unserved),
    )
    if changed:
        plan = Plan.objects.get(pk=errand.plan_id)
        text = f"Solved plan {plan.number} of {plan.day}: {plan.served} served, {plan.unserved} not"
        tell(actor, System.SOLVE, plan, text, now)
    return bool(changed)


@write
def fail_plan(*, actor: Actor, errand: Errand, why: str, now: datetime) -> None:
    """Note why nothing came of a plan."""
    actor.require_system(System.SOLVE)
    mine = Plan.objects.filter(pk=errand.plan_id, state=PlanState.SOLVING, tries=errand.tries)
    words = f"{why} What was in force stays in force."[:300]
    if mine.update(state=PlanState.FAILED, words=words):
        plan = Plan.objects.get(pk=errand.plan_id)
        tell(actor, System.SOLVE, plan, f"Plan {plan.number} of {plan.day} failed: {words}", now)
