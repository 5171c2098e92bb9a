"""Taking kit back item by item: what is whole, what is missing, and what goes to the bench."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from uuid import UUID

from rentals.afloat import services as afloat
from rentals.audit import services as journal
from rentals.bench import queries
from rentals.bench.models import ReturnCheck, ReturnLine
from rentals.bench.services.jobs import open_job
from rentals.bookings import services as bookings
from rentals.bookings.models import KitPart, Outing
from rentals.bookings.states import OutingEvent, OutingState
from rentals.fleet import services as fleet
from rentals.fleet.models import RIG_PARTS, HoldBack, Item
from rentals.fleet.states import ItemEvent, ItemState
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Refused
from rentals.lib.when import Arrival
from rentals.lib.writes import write


class UnableToTakeBack(Refused):
    """The return check does not hold together."""

    slug = "return-refused"
    title = "Check what came back"


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
    list_version: int | None = None,
    waited_s: int | None = None,
    once: UUID | None = None,
    now: datetime,
) -> ReturnCheck:
    """Log what came back and how; the outing closes when nothing is missing.

    A rider still marked afloat is noted ashore by it, as of when it was ticked. Each fault opens a bench job
    and takes the item out of use in the same transaction, so that no next rider gets it.

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
    out, arrival = queries.still_out(outing), Arrival.of(waited_s, now=now)
    if not out and outing.state in (OutingState.KITTED, OutingState.CLEARED):
        raise UnableToTakeBack("Nothing of this outing is out. To call it off, cancel the outing.")
    _check_lines(lines, out, felt)
    if outing.state == OutingState.AFLOAT:
        afloat.land(actor=actor, act=Act.TAKE_BACK, outing=outing, now=now, at=arrival.at)
    check = ReturnCheck.objects.create(
        outing=outing,
        at=now,
        ticked_at=arrival.ticked_at,
        list_version=list_version,
        by_id=actor.user_id,
        felt=felt,
        note=note.strip(),
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
    text += arrival.words(outing.station.zone)
    line = journal.Line("outing", outing.pk, text, {"felt": felt})
    journal.record(actor=actor, act=Act.TAKE_BACK, station_id=outing.station_id, lines=[line], now=now)
    journal.settle(claim, check.pk)
    return check


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


def _apart(parts: Collection[KitPart]) -> tuple[list[KitPart], list[Item]]:
    """Parts that may go out again, and items that were called back meanwhile."""
    held = set(
        HoldBack.objects.standing()
        .filter(item__in=[part.item_id for part in parts])
        .values_list("item_id", flat=True)
    )
    free = [part for part in parts if part.item_id not in held]
    return free, [part.item for part in parts if part.item_id in held]


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
    unharmed = [parts[line.item_id] for line in back if not line.fault.strip()]
    issued = [part for part in unharmed if part.item.state == ItemState.ISSUED]
    _tell_held_back(actor, [part.item for part in unharmed if part not in issued], now)
    whole, called_back = _apart(issued)
    fleet.set_aside(
        actor=actor, act=Act.TAKE_BACK, items=called_back, text="Came back whole; it is held back", now=now
    )
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
            open_job(actor, Act.TAKE_BACK, parts[line.item_id].item, line.fault, outing, now)


def _tell_held_back(actor: Actor, items: Collection[Item], now: datetime) -> None:
    """Note the return of what was held back while it was with the rider: it stays held back."""
    for item in items:
        line = journal.Line("item", item.pk, "Came back; stays held back until the bench releases it")
        journal.record(actor=actor, act=Act.TAKE_BACK, station_id=item.station_id, lines=[line], now=now)
