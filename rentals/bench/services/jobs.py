"""Faults: reported, mended, released by a second person where they can hurt; and items withdrawn."""

from collections.abc import Collection
from datetime import datetime
from typing import Any
from uuid import UUID

from rentals.audit import services as journal
from rentals.bench.models import Job
from rentals.bench.services.common import tell, visible_item, visible_job
from rentals.bench.states import MOVES, UNFINISHED, JobEvent, JobState
from rentals.bookings.models import KitPart, Outing
from rentals.fleet import services as fleet
from rentals.fleet.models import Item
from rentals.fleet.states import OUT_OF_USE, ItemEvent, ItemState
from rentals.lib.access import Act, Actor
from rentals.lib.moves import shift
from rentals.lib.problems import Conflict, Refused
from rentals.lib.writes import inside_write, write

SECOND_PERSON_KINDS = ("mast", "boom", "base", "extension", "harness", "buoyancy_aid")
"""Kinds whose failure can hurt: the one who mended does not release. Common practice, no source."""


class UnableToMend(Refused):
    """The bench job cannot do that."""

    slug = "job-refused"
    title = "Check the bench job"


class JobMovedOn(Conflict):
    """The job is not in a state from which this can be done."""

    slug = "job-state"
    title = "The job has moved on"


@write
def report_fault(*, actor: Actor, item_id: int, fault: str, once: UUID | None = None, now: datetime) -> Job:
    """Report a fault of an item in the shed: it goes to the bench at once.

    Raises:
        NotVisible: no such item here.
        UnableToMend: no fault named.
        UnableToMove: it is withdrawn.
    """
    item = visible_item(actor, item_id)
    actor.require(Act.REPORT_FAULT, station_id=item.station_id)
    claim = journal.claim(actor=actor, act=Act.REPORT_FAULT, key=once, asked=[item_id, fault], now=now)
    if claim.result_id is not None:
        return Job.objects.get(pk=claim.result_id)
    if not fault.strip():
        raise UnableToMend.at("fault", "Enter what is wrong with it.")
    if item.state == ItemState.ISSUED:
        raise UnableToMend.at("fault", f"{item.tag} is with a rider. Enter the fault in the return check.")
    job = open_job(actor, Act.REPORT_FAULT, item, fault, None, now)
    journal.settle(claim, job.pk)
    return job


@write
def mend(*, actor: Actor, job_id: int, work: str, minutes: int | None, now: datetime) -> Job:
    """Note that a fault is mended and how; the item stays on the bench until somebody releases it.

    Raises:
        NotVisible, UnableToMend, JobMovedOn: no such job; no work named; not open.
    """
    job = visible_job(actor, job_id)
    actor.require(Act.MEND, station_id=job.item.station_id)
    if not work.strip():
        raise UnableToMend.at("work", "Enter what you did.")
    if minutes is not None and not 0 <= minutes <= 6000:
        raise UnableToMend.at("minutes", "Enter minutes between 0 and 6000, or leave it empty.")
    values: dict[str, Any] = {
        "work": work.strip(),
        "minutes": minutes,
        "mended_at": now,
        "mended_by_id": actor.user_id,
    }
    _move_job(job, JobEvent.MEND, **values)
    tell(actor, Act.MEND, job, f"Mended: {work.strip()}", now)
    return job


@write
def release(*, actor: Actor, job_id: int, now: datetime) -> Job:
    """Release a mended item into use, if no other fault of it is open.

    Raises:
        NotVisible, JobMovedOn: no such job; not mended.
        UnableToMend: a kind whose failure can hurt needs a second person; or it is still with a rider.
    """
    job = visible_job(actor, job_id)
    actor.require(Act.RELEASE, station_id=job.item.station_id)
    if job.item.model.kind in SECOND_PERSON_KINDS and job.mended_by_id == actor.user_id:
        raise UnableToMend("A second person must look this item over and release it. Ask a colleague.")
    if KitPart.objects.filter(item=job.item).with_rider().exists():
        raise UnableToMend(f"{job.item.tag} is still with a rider. Take it back first.")
    # Locked, so that of two who release an item's last two faults at once the second sees the first's.
    item = Item.objects.select_for_update().get(pk=job.item_id)
    _move_job(job, JobEvent.RELEASE, finished_at=now, finished_by_id=actor.user_id)
    if not Job.objects.filter(item=job.item, state__in=UNFINISHED).exists():
        fleet.leave_bench(actor=actor, act=Act.RELEASE, item=item, text="Released into use", now=now)
    tell(actor, Act.RELEASE, job, f"Released: {job.fault}", now)
    return job


@write
def withdraw(*, actor: Actor, item_id: int, reason: str, once: UUID | None = None, now: datetime) -> Item:
    """Withdraw an item for good; its record stays.

    Raises:
        NotVisible, UnableToMend, UnableToMove: no such item; no reason; already withdrawn.
    """
    item = visible_item(actor, item_id)
    actor.require(Act.WITHDRAW, station_id=item.station_id)
    claim = journal.claim(actor=actor, act=Act.WITHDRAW, key=once, asked=[item_id, reason], now=now)
    if claim.result_id is not None:
        return item
    if not reason.strip():
        raise UnableToMend.at("reason", "Enter why it is withdrawn.")
    fleet.move_items(
        actor=actor,
        act=Act.WITHDRAW,
        items=[item],
        event=ItemEvent.WITHDRAW,
        text=f"Withdrawn: {reason.strip()}",
        now=now,
    )
    fleet.derig(actor=actor, act=Act.WITHDRAW, item_ids=[item.pk], now=now)
    KitPart.objects.filter(item=item).with_rider().update(returned_at=now)
    for job in Job.objects.filter(item=item, state__in=UNFINISHED):
        _move_job(job, JobEvent.WITHDRAW, finished_at=now, finished_by_id=actor.user_id)
    journal.settle(claim, item.pk)
    return item


@inside_write
def open_job(actor: Actor, act: Act, item: Item, fault: str, outing: Outing | None, now: datetime) -> Job:
    """Open the job of a fault and take the item to the bench, out of whatever rig it stands in."""
    job = _new_job(actor, item, fault, outing, now)
    if item.state != ItemState.ON_BENCH:
        fleet.move_items(
            actor=actor, act=act, items=[item], event=ItemEvent.TO_BENCH, text=f"Fault: {job.fault}", now=now
        )
        fleet.derig(actor=actor, act=act, item_ids=[item.pk], now=now)
    else:
        tell(actor, act, job, f"Another fault: {job.fault}", now)
    return job


@inside_write
def hold_for_inspection(
    *, actor: Actor, act: Act, items: Collection[Item], why: str, outing: Outing | None = None, now: datetime
) -> list[Job]:
    """Hold items back at once, each with a job that says what to look for; withdrawn ones are left alone.

    What is with a rider is held back as well: it cannot be promised or launched with from now on, and the
    return check takes it off the rider without putting it back into use.
    """
    kept = [item for item in items if item.state != ItemState.WITHDRAWN]
    jobs = [_new_job(actor, item, why, outing, now) for item in kept]
    in_use = [item for item in kept if item.state not in OUT_OF_USE]
    in_rack = [item.pk for item in in_use if item.state != ItemState.ISSUED]
    fleet.move_items(actor=actor, act=act, items=in_use, event=ItemEvent.HOLD_BACK, text=why, now=now)
    fleet.derig(actor=actor, act=act, item_ids=in_rack, now=now)
    for job, item in zip(jobs, kept, strict=True):
        if item not in in_use:
            tell(actor, act, job, why, now)
    return jobs


@inside_write
def _new_job(actor: Actor, item: Item, fault: str, outing: Outing | None, now: datetime) -> Job:
    return Job.objects.create(
        item=item, fault=fault.strip()[:300], opened_at=now, opened_by_id=actor.user_id, outing=outing
    )


@inside_write
def _move_job(job: Job, event: JobEvent, **values: Any) -> None:
    source = JobState(job.state)
    target = MOVES.get((source, event))
    if target is None or not shift(job, target, **values):
        raise JobMovedOn(f"The job is {source}; you cannot {event} it now. Reload the page.")


def with_faults(item_ids: Collection[int]) -> set[int]:
    """Return which items have a fault that is not finished: one query."""
    unfinished = Job.objects.filter(item__in=item_ids, state__in=UNFINISHED)
    return set(unfinished.values_list("item_id", flat=True))
