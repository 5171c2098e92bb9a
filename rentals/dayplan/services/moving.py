"""What the services of plans share: finding one, moving it by its table, telling of it."""

from datetime import datetime
from typing import Any

from rentals.audit import services as journal
from rentals.dayplan.models import Plan
from rentals.dayplan.states import MOVES, PlanEvent, PlanState
from rentals.lib.access import Act, Actor, System
from rentals.lib.moves import shift
from rentals.lib.problems import Conflict, NotVisible
from rentals.lib.writes import inside_write


class UnableToMovePlan(Conflict):
    """The plan is not in a state from which this can be done."""

    slug = "plan-state"
    title = "The plan has moved on"


def visible_plan(actor: Actor, plan_id: int) -> Plan:
    plan = (
        Plan.objects.visible_to(actor)
        .select_related("station")
        .select_for_update(of=("self",))
        .filter(pk=plan_id)
        .first()
    )
    if plan is None:
        raise NotVisible("There is no such plan here.")
    return plan


@inside_write
def move_plan(plan: Plan, event: PlanEvent, **values: Any) -> None:
    source = PlanState(plan.state)
    target = MOVES.get((source, event))
    if target is None:
        raise UnableToMovePlan(f"The plan is {source}; you cannot {event} it now. Reload the page.")
    if not shift(plan, target, **values):
        raise UnableToMovePlan("The plan has moved on meanwhile. Reload the page.")


@inside_write
def tell(actor: Actor, act: Act | System, plan: Plan, text: str, now: datetime) -> None:
    line = journal.Line("plan", plan.pk, text)
    journal.record(actor=actor, act=act, station_id=plan.station_id, lines=[line], now=now)
