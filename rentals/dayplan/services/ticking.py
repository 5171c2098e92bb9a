"""Ticking the crew's rigs off, so that they stand built."""

from datetime import datetime

from rentals.dayplan.models import RigTask
from rentals.dayplan.services.moving import tell
from rentals.dayplan.states import PlanState
from rentals.fleet import services as fleet
from rentals.fleet.models import RIG_PARTS, Item
from rentals.fleet.states import ItemEvent, ItemState
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Conflict, NotVisible
from rentals.lib.writes import inside_write, write


class UnableToTick(Conflict):
    """The rig cannot be ticked off, or its tick taken back."""

    slug = "rig-tick"
    title = "That rig cannot be ticked"


@write
def tick_rig(*, actor: Actor, task_id: int, ticked: bool, now: datetime) -> RigTask:
    """Tick a rig off as built, or take the tick back; the same tick twice changes nothing.

    Raises:
        UnableToTick: its plan is not in force any more, or a part is with a rider.
    """
    task = (
        RigTask.objects.filter(plan__station_id__in=actor.station_ids, pk=task_id)
        .select_related("plan", "sail", "mast", "boom", "extension", "base")
        .select_for_update(of=("self",))
        .first()
    )
    if task is None:
        raise NotVisible("There is no such rig here.")
    actor.require(Act.RIG_UP, station_id=task.plan.station_id)
    if task.plan.state != PlanState.ACCEPTED:
        raise UnableToTick("That plan is not in force any more. Reload the page.")
    if (task.ticked_at is not None) == ticked:
        return task
    _stand(actor, task, now) if ticked else _take_down(actor, task, now)
    task.ticked_at, task.ticked_by_id = (now, actor.user_id) if ticked else (None, None)
    RigTask.objects.filter(pk=task.pk).update(ticked_at=task.ticked_at, ticked_by_id=task.ticked_by_id)
    text = f"{'Rigged' if ticked else 'Not rigged after all'}: {task.sail}, rig {task.place}"
    tell(actor, Act.RIG_UP, task.plan, text, now)
    return task


@inside_write
def _stand(actor: Actor, task: RigTask, now: datetime) -> None:
    """Note that the rig stands built."""
    if task.waits_for:
        tags = ", ".join(item.tag for item in task.waits_for)
        raise UnableToTick(f"{tags} cannot be rigged now: with a rider, held back or on the bench.")
    parts = dict(zip(RIG_PARTS, (item.pk for item in task.items), strict=True))
    fleet.build_rig(actor=actor, act=Act.RIG_UP, station_id=task.plan.station_id, parts=parts, now=now)
    loose = list(Item.objects.filter(pk__in=parts.values(), state=ItemState.READY))
    if loose:
        fleet.move_items(
            actor=actor, act=Act.RIG_UP, items=loose, event=ItemEvent.RIG_UP, text="Rigged", now=now
        )


@inside_write
def _take_down(actor: Actor, task: RigTask, now: datetime) -> None:
    """Note that the rig does not stand after all."""
    if task.is_out:
        tags = ", ".join(item.tag for item in task.is_out)
        raise UnableToTick(f"{tags} is with a rider: the rig was built.")
    fleet.derig(actor=actor, act=Act.RIG_UP, item_ids=[task.sail_id], now=now)
