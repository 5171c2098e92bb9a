"""The shed taken in from a sheet; holding items, holding them back, moving them and building rigs."""

from collections.abc import Collection, Mapping
from datetime import datetime
from uuid import UUID

from django.db import IntegrityError
from django.db.models import F, Q

from rentals.audit import services as journal
from rentals.errands import services as errands
from rentals.fleet import queries
from rentals.fleet.formats.shed import UnreadableSheet
from rentals.fleet.models import RIG_PARTS, Cause, Hold, HoldBack, Item, Kind, Rig
from rentals.fleet.queries import Fate, ShedPlan
from rentals.fleet.states import AT_HAND, MOVES, ItemEvent, ItemState
from rentals.lib.access import Act, Actor, System
from rentals.lib.problems import Conflict, Refused
from rentals.lib.writes import inside_write, savepoint, write
from rentals.stations.models import Station


class UnableToHold(Conflict):
    """An item is already kept for somebody else in that span."""

    slug = "item-held"
    title = "Somebody else has it then"


class UnableToTakeShed(Refused):
    """A sheet of the shed has problems, or is none."""

    slug = "shed-refused"
    title = "Check the sheet"


class UnableToMove(Conflict):
    """An item is not in a state from which this can be done."""

    slug = "item-state"
    title = "The item cannot do that now"


@write
def take_shed(
    *,
    actor: Actor,
    station_id: int,
    text: str,
    once: UUID | None = None,
    taken: errands.Taken | None = None,
    now: datetime,
) -> ShedPlan:
    """Take a sheet of the shed in, all or nothing: new items and models, and what the sheet fills in anew.

    Args:
        actor: who takes it in.
        station_id: whose shed.
        text: the sheet.
        once: the form's own key.
        taken: the errand that this is done for; it is over with what is written here, or neither is.
        now: the moment.

    Raises:
        UnableToTakeShed: it is no sheet, or a row has a problem; the sentence names the first.
    """
    actor.require(Act.EDIT_SHED, station_id=station_id)
    claim = journal.claim(actor=actor, act=Act.EDIT_SHED, key=once, asked=[station_id, text], now=now)
    station = Station.objects.select_for_update().get(pk=station_id)
    try:
        plan = queries.shed_plan(station, text)
    except UnreadableSheet as problem:
        raise UnableToTakeShed.at("file", str(problem)) from problem
    wrong = next((row for row in plan.rows if row.problems), None)
    if wrong is not None:
        column, said = next(iter(wrong.problems.items()))
        raise UnableToTakeShed.at(
            "file", f"Row {wrong.number}, {column.replace('_', ' ')}: {said} Nothing was taken in."
        )
    if claim.result_id is None:
        _take_rows(actor, station, plan, now)
        journal.settle(claim, station_id)
    if taken is not None:
        words = f"{plan.new} new, {plan.changed} changed."
        result = {"new": plan.new, "changed": plan.changed}
        errands.leave(taken=taken, result=result, words=words, now=now)
    return plan


@inside_write
def _take_rows(actor: Actor, station: Station, plan: ShedPlan, now: datetime) -> None:
    for model in {id(row.model): row.model for row in plan.rows}.values():
        if model is not None and model._state.adding:
            model.save()
    new = [row for row in plan.rows if row.fate is Fate.NEW]
    made = Item.objects.bulk_create(
        Item(station=station, model=row.model, tag=row.tag, **row.values) for row in new
    )
    lines = [journal.Line("item", item.pk, "Entered into the shed from a sheet") for item in made]
    for row in plan.rows:
        if row.fate is Fate.CHANGED and row.item is not None:
            Item.objects.filter(pk=row.item.pk).update(**row.values)
            lines.append(journal.Line("item", row.item.pk, f"From a sheet: {'; '.join(row.says)}"))
    lines.append(journal.Line("station", station.pk, f"Shed: {plan.new} new, {plan.changed} changed"))
    journal.record(actor=actor, act=Act.EDIT_SHED, station_id=station.pk, lines=lines, now=now)


@inside_write
def take_holds(
    *, item_ids: Collection[int], starts_at: datetime, ends_at: datetime, purpose: str
) -> dict[int, Hold]:
    """Hold items over a half-open span, all or none.

    `ON CONFLICT DO NOTHING` and a look at what was written: under a rush for one item this neither deadlocks
    nor waits in chains, as an insert that fails on the exclusion constraint would. SQLite's trigger raises.

    Raises:
        UnableToHold: one is taken; the message names it and by when it is free.
    """
    wanted = [
        Hold(item_id=item_id, starts_at=starts_at, ends_at=ends_at, purpose=purpose)
        for item_id in sorted(item_ids)
    ]
    try:
        with savepoint():
            Hold.objects.bulk_create(wanted, ignore_conflicts=True)
    except IntegrityError:
        kept: set[object] = set()
    else:
        kept = set(Hold.objects.filter(pk__in=[hold.pk for hold in wanted]).values_list("pk", flat=True))
    if len(kept) < len(wanted):
        raise UnableToHold(_who_holds(item_ids, starts_at, ends_at))
    return {hold.item_id: hold for hold in wanted}


@inside_write
def end_holds(*, hold_ids: Collection[UUID]) -> None:
    """Let holds go, so that others can have the items."""
    Hold.objects.filter(pk__in=hold_ids, live=True).update(live=False)


@inside_write
def shorten_holds(*, hold_ids: Collection[UUID], until: datetime) -> None:
    """Let holds end earlier than promised; those that had not begun by then are let go whole."""
    holds = Hold.objects.filter(pk__in=hold_ids, live=True)
    holds.filter(starts_at__gte=until).update(live=False)
    holds.filter(starts_at__lt=until, ends_at__gt=until).update(ends_at=until)


@inside_write
def lengthen_holds(*, hold_ids: Collection[UUID], until: datetime) -> None:
    """Let holds last longer than promised, all or none.

    Raises:
        UnableToHold: somebody else has an item then; the message names it and from when.
    """
    holds = list(Hold.objects.filter(pk__in=hold_ids, live=True, ends_at__lt=until).order_by("pk"))
    if not holds:
        return
    sentence = _who_holds_next(holds, until)
    if sentence:
        raise UnableToHold(sentence)
    try:
        with savepoint():
            Hold.objects.filter(pk__in=[hold.pk for hold in holds]).update(ends_at=until)
    except IntegrityError as error:
        raise UnableToHold(_who_holds_next(holds, until) or "Somebody was quicker. Try again.") from error


@inside_write
def move_items(
    *,
    actor: Actor,
    act: Act | System,
    items: Collection[Item],
    event: ItemEvent,
    text: str,
    now: datetime,
) -> None:
    """Move items by an event, all or none, and write it into each one's journal.

    Raises:
        UnableToMove: one is in a state that the table does not let move so; the message names it.
    """
    moves = {source: target for (source, on), target in MOVES.items() if on is event}
    (target,) = set(moves.values())
    ids = sorted({item.pk for item in items})
    # Locked in one order, so that two desks that take each other's items wait instead of deadlocking.
    found = list(Item.objects.select_for_update().filter(pk__in=ids).order_by("pk"))
    stuck = [item for item in found if ItemState(item.state) not in moves]
    if stuck:
        names = ", ".join(f"{item.tag} is {item.state.replace('_', ' ')}" for item in stuck)
        raise UnableToMove(f"You cannot {event.value} that: {names}. Choose another item.")
    Item.objects.filter(pk__in=ids).update(state=target)
    for station_id in {item.station_id for item in found}:
        lines = [
            journal.Line("item", item.pk, text, {"state": [item.state, target.value]})
            for item in found
            if item.station_id == station_id
        ]
        journal.record(actor=actor, act=act, station_id=station_id, lines=lines, now=now)


@inside_write
def build_rig(
    *, actor: Actor, act: Act, station_id: int, parts: Mapping[Kind, int], now: datetime
) -> Rig | None:
    """Note that a rig stands built from these parts; None when exactly this one already does.

    Whatever other rig a part was in is taken apart by it.
    """
    chosen = {f"{part.value}_id": parts[part] for part in RIG_PARTS}
    if Rig.objects.filter(derigged_at=None, **chosen).exists():
        return None
    derig(actor=actor, act=act, item_ids=chosen.values(), now=now)
    Item.objects.filter(pk__in=chosen.values()).update(rig_ups=F("rig_ups") + 1)
    return Rig.objects.create(station_id=station_id, built_at=now, **chosen)


@inside_write
def derig(*, actor: Actor, act: Act | System, item_ids: Collection[int], now: datetime) -> None:
    """Take apart the rigs that hold any of these items; parts left over in the rack are ready again."""
    holds_one = Q(pk=None)
    for part in RIG_PARTS:
        holds_one |= Q(**{f"{part.value}__in": item_ids})
    rigs = Rig.objects.filter(holds_one, derigged_at=None)
    parts = {item_id for row in rigs.values_list(*(part.value for part in RIG_PARTS)) for item_id in row}
    rigs.update(derigged_at=now)
    left = Item.objects.filter(pk__in=parts, state=ItemState.RIGGED)
    if left:
        move_items(actor=actor, act=act, items=left, event=ItemEvent.DERIG, text="Derigged", now=now)


@inside_write
def hold_back(
    *,
    actor: Actor,
    act: Act | System,
    items: Collection[Item],
    cause: Cause,
    subject: str,
    text: str,
    now: datetime,
) -> list[Item]:
    """Hold items back for a reason; returns those that it did not hold back already.

    What is in the rack leaves it at once, its rig is taken apart. What is with a rider stays issued and goes
    aside when it comes back; what is on the bench stays there.
    """
    known = HoldBack.objects.standing().filter(cause=cause, subject=subject, item__in=items)
    held = set(known.values_list("item_id", flat=True))
    new = [item for item in items if item.pk not in held]
    HoldBack.objects.bulk_create(
        HoldBack(item=item, cause=cause, subject=subject, text=text, since=now, by_id=actor.user_id)
        for item in new
    )
    set_aside(
        actor=actor,
        act=act,
        items=[item for item in new if item.state in AT_HAND],
        text=f"Held back: {text}",
        now=now,
    )
    for station_id in {item.station_id for item in new}:
        elsewhere = [
            journal.Line("item", item.pk, f"To be held back when it comes: {text}")
            for item in new
            if item.station_id == station_id and item.state in (ItemState.ISSUED, ItemState.ON_BENCH)
        ]
        journal.record(actor=actor, act=act, station_id=station_id, lines=elsewhere, now=now)
    return new


@inside_write
def set_aside(*, actor: Actor, act: Act | System, items: Collection[Item], text: str, now: datetime) -> None:
    """Move items out of use and take apart the rigs they are in."""
    if items:
        move_items(actor=actor, act=act, items=items, event=ItemEvent.HOLD_BACK, text=text, now=now)
        derig(actor=actor, act=act, item_ids=[item.pk for item in items], now=now)


@inside_write
def lift(
    *,
    actor: Actor,
    act: Act,
    hold_backs: Collection[HoldBack],
    because: str,
    not_yet: Collection[int] = (),
    now: datetime,
) -> list[int]:
    """Lift what holds items back; returns the ids of those that are ready again, held by nothing else.

    Args:
        not_yet: items that a fault keeps aside all the same.
    """
    HoldBack.objects.standing().filter(pk__in=[each.pk for each in hold_backs]).update(
        lifted_at=now, lifted_by_id=actor.user_id, lifted_because=because[:300]
    )
    ids = {each.item_id for each in hold_backs}
    still = HoldBack.objects.standing().filter(item__in=ids).values("item")
    free = list(
        Item.objects.filter(pk__in=ids, state=ItemState.HELD_BACK)
        .exclude(pk__in=still)
        .exclude(pk__in=not_yet)
    )
    if free:
        text = f"Released: {because}"
        move_items(actor=actor, act=act, items=free, event=ItemEvent.RELEASE, text=text, now=now)
    return [item.pk for item in free]


@inside_write
def leave_bench(*, actor: Actor, act: Act, item: Item, text: str, now: datetime) -> None:
    """Give a mended item back, or leave it aside where something else still holds it back."""
    held = HoldBack.objects.standing().filter(item=item).first()
    if held is None:
        move_items(actor=actor, act=act, items=[item], event=ItemEvent.RELEASE, text=text, now=now)
    elif item.state == ItemState.ON_BENCH:
        said = f"{text}, but held back: {held.text}"
        move_items(actor=actor, act=act, items=[item], event=ItemEvent.HOLD_BACK, text=said, now=now)


def _who_holds_next(holds: Collection[Hold], until: datetime) -> str:
    """Say who has the items of holds after these end and before a moment; empty when nobody has."""
    start = min(hold.ends_at for hold in holds)
    clashes = (
        Hold.objects.overlapping(start, until)
        .filter(item__in=[hold.item_id for hold in holds])
        .exclude(pk__in=[hold.pk for hold in holds])
        .select_related("item__station")
        .order_by("starts_at", "item__tag")
    )
    said = [
        f"{hold.item.tag} is promised from {hold.item.station.local(hold.starts_at):%H:%M} ({hold.purpose})"
        for hold in clashes
    ]
    return f"{'; '.join(said)}. Choose fewer minutes, or give them other kit first." if said else ""


def _who_holds(item_ids: Collection[int], start: datetime, end: datetime) -> str:
    clashes = Hold.objects.overlapping(start, end).filter(item__in=item_ids).select_related("item__station")
    said = [
        f"{hold.item.tag} is held until {hold.item.station.local(hold.ends_at):%H:%M} ({hold.purpose})"
        for hold in clashes.order_by("item__tag")
    ]
    return f"{'; '.join(said) or 'Somebody was quicker'}. Choose another item or another time."
