"""Taking kit back item by item, faults and their mending, and posting the wear of closed outings."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Exists, F, OuterRef

from rentals.afloat import services as afloat
from rentals.audit import services as journal
from rentals.bench import queries
from rentals.bench.models import MOST_WATER_S, Job, ReturnCheck, ReturnLine, WearPosting
from rentals.bench.states import MOVES, UNFINISHED, JobEvent, JobState
from rentals.bookings import services as bookings
from rentals.bookings.models import KitPart, Outing
from rentals.bookings.states import OutingEvent, OutingState
from rentals.fleet import services as fleet
from rentals.fleet.models import RIG_PARTS, Item
from rentals.fleet.states import ItemEvent, ItemState
from rentals.lib.access import Act, Actor, System
from rentals.lib.moves import shift
from rentals.lib.problems import Conflict, NotVisible, Refused
from rentals.lib.writes import inside_write, write

SECOND_PERSON_KINDS = ("mast", "boom", "base", "extension", "harness", "buoyancy_aid")
"""Kinds whose failure can hurt: the one who mended does not release. Common practice, no source."""


class UnableToTakeBack(Refused):
    """The return check does not hold together."""

    slug = "return-refused"
    title = "Check what came back"


class UnableToMend(Refused):
    """The bench job cannot do that."""

    slug = "job-refused"
    title = "Check the bench job"


class JobMovedOn(Conflict):
    """The job is not in a state from which this can be done."""

    slug = "job-state"
    title = "The job has moved on"


@dataclass(frozen=True, slots=True, kw_only=True)
class Came:
    """How one item came back."""

    item_id: int
    back: bool
    rinsed: bool = False
    fault: str = ""


@write
def take_back(
    *,
    actor: Actor,
    outing_id: int,
    lines: Sequence[Came],
    felt: str = "",
    stays_rigged: bool = False,
    note: str = "",
    once: UUID | None = None,
    now: datetime,
) -> ReturnCheck:
    """Log what came back and how; the outing closes when nothing is missing.

    A rider still marked afloat is noted ashore by it. Each fault opens a bench job and takes the item out of
    use in the same transaction, so that no next rider gets it.

    Raises:
        UnableToTakeBack: a line for an item that is not out on this outing, or one left out.
        UnableToMoveOuting: nothing to take back in that state.
    """
    outing = bookings.visible_outing(actor, outing_id)
    actor.require(Act.TAKE_BACK, station_id=outing.station_id)
    asked = [outing_id, [asdict(line) for line in lines], felt, stays_rigged, note]
    claim = journal.claim(actor=actor, act=Act.TAKE_BACK, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return ReturnCheck.objects.get(pk=claim.result_id)
    out = queries.still_out(outing)
    if not out and outing.state in (OutingState.KITTED, OutingState.CLEARED):
        raise UnableToTakeBack("Nothing of this outing is out. To call it off, cancel the outing.")
    _check_lines(lines, out, felt)
    if outing.state == OutingState.AFLOAT:
        afloat.land(actor=actor, act=Act.TAKE_BACK, outing=outing, now=now)
    check = ReturnCheck.objects.create(
        outing=outing, at=now, by_id=actor.user_id, felt=felt, note=note.strip()
    )
    ReturnLine.objects.bulk_create(
        ReturnLine(
            check_made=check,
            item_id=line.item_id,
            back=line.back,
            rinsed=line.rinsed,
            fault=line.fault.strip(),
        )
        for line in lines
    )
    _take_items(actor, outing, lines, {part.item_id: part for part in out}, stays_rigged, now)
    missing = len(lines) - sum(line.back for line in lines)
    text = f"Return check: {missing} missing"
    if not missing:
        text = f"Return check: all back, outing {_finish(outing, now)}"
    line = journal.Line("outing", outing.pk, text, {"felt": felt})
    journal.record(actor=actor, act=Act.TAKE_BACK, station_id=outing.station_id, lines=[line], now=now)
    journal.settle(claim, check.pk)
    return check


@write
def report_fault(*, actor: Actor, item_id: int, fault: str, once: UUID | None = None, now: datetime) -> Job:
    """Report a fault of an item in the shed: it goes to the bench at once.

    Raises:
        NotVisible: no such item here.
        UnableToMend: no fault named.
        UnableToMove: it is withdrawn.
    """
    item = _visible_item(actor, item_id)
    actor.require(Act.REPORT_FAULT, station_id=item.station_id)
    claim = journal.claim(actor=actor, act=Act.REPORT_FAULT, key=once, asked=[item_id, fault], now=now)
    if claim.result_id is not None:
        return Job.objects.get(pk=claim.result_id)
    if not fault.strip():
        raise UnableToMend.at("fault", "Enter what is wrong with it.")
    if item.state == ItemState.ISSUED:
        raise UnableToMend.at("fault", f"{item.tag} is with a rider. Enter the fault in the return check.")
    job = _open_job(actor, Act.REPORT_FAULT, item, fault, None, now)
    journal.settle(claim, job.pk)
    return job


@write
def mend(*, actor: Actor, job_id: int, work: str, minutes: int | None, now: datetime) -> Job:
    """Note that a fault is mended and how; the item stays on the bench until somebody releases it.

    Raises:
        NotVisible, UnableToMend, JobMovedOn: no such job; no work named; not open.
    """
    job = _visible_job(actor, job_id)
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
    _tell(actor, Act.MEND, job, f"Mended: {work.strip()}", now)
    return job


@write
def release(*, actor: Actor, job_id: int, now: datetime) -> Job:
    """Release a mended item into use, if no other fault of it is open.

    Raises:
        NotVisible, JobMovedOn: no such job; not mended.
        UnableToMend: a kind whose failure can hurt needs a second person; or another fault is open.
    """
    job = _visible_job(actor, job_id)
    actor.require(Act.RELEASE, station_id=job.item.station_id)
    if job.item.model.kind in SECOND_PERSON_KINDS and job.mended_by_id == actor.user_id:
        raise UnableToMend("A second person must look this item over and release it. Ask a colleague.")
    # Locked, so that of two who release an item's last two faults at once the second sees the first's.
    Item.objects.select_for_update().get(pk=job.item_id)
    _move_job(job, JobEvent.RELEASE, finished_at=now, finished_by_id=actor.user_id)
    if not Job.objects.filter(item=job.item, state__in=UNFINISHED).exists():
        fleet.move_items(
            actor=actor,
            act=Act.RELEASE,
            items=[job.item],
            event=ItemEvent.RELEASE,
            text="Released into use",
            now=now,
        )
    _tell(actor, Act.RELEASE, job, f"Released: {job.fault}", now)
    return job


@write
def withdraw(*, actor: Actor, item_id: int, reason: str, now: datetime) -> Item:
    """Withdraw an item for good; its record stays.

    Raises:
        NotVisible, UnableToMend, UnableToMove: no such item; no reason; already withdrawn.
    """
    item = _visible_item(actor, item_id)
    actor.require(Act.WITHDRAW, station_id=item.station_id)
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
    return item


@write
def post_wear(*, actor: Actor, now: datetime, most: int = 200) -> int:
    """Post the water time of closed outings that are not posted yet; return how many outings were.

    Safe to run twice and at once: the pair of outing and item is unique, and an item's hours rise only by
    the rows this run wrote.
    """
    actor.require_system(System.POST_WEAR)
    posted = WearPosting.objects.filter(outing=OuterRef("pk"))
    due = (
        Outing.objects.filter(state=OutingState.CLOSED, launched_at__isnull=False)
        .filter(~Exists(posted))
        .select_for_update(skip_locked=True)
        .order_by("closed_at", "id")[:most]
    )
    outings = {outing.pk: outing for outing in due}
    parts = KitPart.objects.filter(outing__in=outings, issued_at__isnull=False).order_by("item_id")
    rows = [
        WearPosting(
            item_id=part.item_id,
            outing_id=part.outing_id,
            water_s=water_s(outings[part.outing_id]),
            posted_at=now,
        )
        for part in parts
    ]
    WearPosting.objects.bulk_create(rows)
    for row in rows:
        Item.objects.filter(pk=row.item_id).update(water_s=F("water_s") + row.water_s)
    _tell_wear(actor, outings, rows, now)
    return len(outings)


def water_s(outing: Outing) -> int:
    """Seconds that an outing was on the water; one that nobody noted ashore for days counts as two."""
    if outing.launched_at is None or outing.ashore_at is None:
        return 0
    return min(round((outing.ashore_at - outing.launched_at).total_seconds()), MOST_WATER_S)


def _tell_wear(
    actor: Actor, outings: Mapping[int, Outing], rows: Sequence[WearPosting], now: datetime
) -> None:
    for station_id in {outing.station_id for outing in outings.values()}:
        lines = [
            journal.Line(
                "item", row.item_id, f"{row.water_s // 60} min on the water", {"outing": row.outing_id}
            )
            for row in rows
            if outings[row.outing_id].station_id == station_id
        ]
        journal.record(actor=actor, act=System.POST_WEAR, station_id=station_id, lines=lines, now=now)


def _finish(outing: Outing, now: datetime) -> str:
    """Close an outing whose kit is back; one that never went afloat is booked again while its time lasts."""
    if outing.launched_at is None and now < outing.ends_at:
        KitPart.objects.filter(outing=outing).in_force().update(dropped_at=now)
        bookings.move_outing(outing, OutingEvent.UNKIT)
    else:
        bookings.move_outing(outing, OutingEvent.CLOSE, closed_at=now)
    return outing.state


def _check_lines(lines: Sequence[Came], out: Collection[KitPart], felt: str) -> None:
    told, expected = [line.item_id for line in lines], {part.item_id for part in out}
    if felt not in ("", "under", "right", "over"):
        raise UnableToTakeBack.at("felt", "Choose under, right or over.")
    if len(told) != len(set(told)) or set(told) != expected:
        raise UnableToTakeBack(
            "The kit that is out has changed meanwhile. Reload the page and go through it again."
        )
    for line in lines:
        if line.fault.strip() and not line.back:
            raise UnableToTakeBack.at(
                f"fault_{line.item_id}", "Enter the fault when the item is back; for now it is missing."
            )


def _take_items(
    actor: Actor,
    outing: Outing,
    lines: Sequence[Came],
    parts: Mapping[int, KitPart],
    stays_rigged: bool,
    now: datetime,
) -> None:
    back = [line for line in lines if line.back]
    KitPart.objects.filter(pk__in=[parts[line.item_id].pk for line in back]).update(returned_at=now)
    holds = [parts[line.item_id].hold_id for line in back]
    if outing.launched_at is None:
        fleet.end_holds(hold_ids=holds)
    else:
        turn_round = timedelta(minutes=outing.station.turn_round_min)
        fleet.shorten_holds(hold_ids=holds, until=now + turn_round)
    whole = [parts[line.item_id] for line in back if not line.fault.strip()]
    rig_whole = stays_rigged and sum(part.part in RIG_PARTS for part in whole) == len(RIG_PARTS)
    for event, rigged in ((ItemEvent.TAKE_BACK_RIGGED, True), (ItemEvent.TAKE_BACK, False)):
        items = [part.item for part in whole if (rig_whole and part.part in RIG_PARTS) is rigged]
        fleet.move_items(
            actor=actor, act=Act.TAKE_BACK, items=items, event=event, text="Came back whole", now=now
        )
    if not rig_whole:
        fleet.derig(
            actor=actor, act=Act.TAKE_BACK, item_ids=[part.item_id for part in parts.values()], now=now
        )
    for line in back:
        if line.fault.strip():
            _open_job(actor, Act.TAKE_BACK, parts[line.item_id].item, line.fault, outing, now)


@inside_write
def _open_job(actor: Actor, act: Act, item: Item, fault: str, outing: Outing | None, now: datetime) -> Job:
    job = Job.objects.create(
        item=item, fault=fault.strip()[:300], opened_at=now, opened_by_id=actor.user_id, outing=outing
    )
    if item.state != ItemState.ON_BENCH:
        fleet.move_items(
            actor=actor, act=act, items=[item], event=ItemEvent.TO_BENCH, text=f"Fault: {job.fault}", now=now
        )
        fleet.derig(actor=actor, act=act, item_ids=[item.pk], now=now)
    else:
        _tell(actor, act, job, f"Another fault: {job.fault}", now)
    return job


def _visible_item(actor: Actor, item_id: int) -> Item:
    items = Item.objects.visible_to(actor).select_related("model").select_for_update(of=("self",))
    item = items.filter(pk=item_id).first()
    if item is None:
        raise NotVisible("There is no such item here.")
    return item


def _visible_job(actor: Actor, job_id: int) -> Job:
    jobs = Job.objects.filter(item__station_id__in=actor.station_ids).select_related("item__model")
    job = jobs.filter(pk=job_id).first()
    if job is None:
        raise NotVisible("There is no such bench job here.")
    return job


@inside_write
def _move_job(job: Job, event: JobEvent, **values: Any) -> None:
    source = JobState(job.state)
    target = MOVES.get((source, event))
    if target is None or not shift(job, target, **values):
        raise JobMovedOn(f"The job is {source}; you cannot {event} it now. Reload the page.")


def _tell(actor: Actor, act: Act, job: Job, text: str, now: datetime) -> None:
    line = journal.Line("item", job.item_id, text, {"job": job.pk})
    journal.record(actor=actor, act=act, station_id=job.item.station_id, lines=[line], now=now)
