"""Inspections: logged one by one or a rack at once; what is past due is held back by itself, and released."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any
from uuid import UUID

from rentals.audit import services as journal
from rentals.bench import queries
from rentals.bench.mapping import Worn, due, planned_for
from rentals.bench.models import MOST_CARRIED_KG, MOST_GRACE_DAYS, Inspection, Interval, Setting
from rentals.bench.services.common import visible_item
from rentals.bench.services.jobs import open_job, with_faults
from rentals.fleet import services as fleet
from rentals.fleet.models import Cause, HoldBack, Item, ItemModel, Kind
from rentals.fleet.states import ItemState
from rentals.lib.access import Act, Actor, Role, System
from rentals.lib.problems import Conflict, NotAllowed, NotVisible, Refused
from rentals.lib.writes import inside_write, write
from rentals.stations.models import Station
from rigging import wear
from rigging.units import BadValue

INTERVALS = {
    "every_hours": "water hours",
    "every_rig_ups": "rig-ups",
    "every_sun_hours": "sun hours",
    "every_days": "days",
}


class UnableToInspect(Refused):
    """The inspection does not hold together."""

    slug = "inspection-refused"
    title = "Check the inspection"


class StillHeldBack(Conflict):
    """What holds the item back is not settled."""

    slug = "still-held-back"
    title = "It is held back still"


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What an inspection found: the points that are in order by number, defects, and a float test's mass."""

    in_order: frozenset[int] = frozenset()
    defects: str = ""
    carried_kg: float | None = None
    note: str = ""


@write
def inspect(
    *, actor: Actor, item_id: int, name: str, found: Found, once: UUID | None = None, now: datetime
) -> Inspection:
    """Log an inspection of an item. What fails goes to the bench; what passes may go out again.

    An item held back for this very inspection is released with it when the station lets this person release.

    Raises:
        NotVisible: no such item here.
        UnableToInspect: an inspection that its kind does not have; with a rider or withdrawn; a point left
            open without a defect named; a float test missing.
    """
    item = visible_item(actor, item_id)
    actor.require(Act.INSPECT, station_id=item.station_id)
    asked = [item_id, name, sorted(found.in_order), found.defects, found.carried_kg, found.note]
    claim = journal.claim(actor=actor, act=Act.INSPECT, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Inspection.objects.get(pk=claim.result_id)
    ((worn, _grace),) = queries.worn_items(Item.objects.filter(pk=item.pk))
    intervals = list(Interval.objects.filter(station=item.station_id))
    plan = next((each for each in planned_for(item, intervals) if each.rule.name == name), None)
    if plan is None:
        raise UnableToInspect.at("name", f"There is no inspection “{name}” of a {item.model.kind}.")
    _refuse_what_is_away([item])
    record = _record(actor, worn, plan, _judged(item, plan, found), now)
    record.save(force_insert=True)
    text = f"Inspected, {name}: {'passed' if record.passed else record.defects}"
    _tell(actor, [(item, text, record.pk)], now)
    if record.passed:
        _release_passed(actor, [record], now)
    else:
        open_job(actor, Act.INSPECT, item, f"{name}: {record.defects}", None, now)
    journal.settle(claim, record.pk)
    return record


@write
def inspect_rack(
    *,
    actor: Actor,
    station_id: int,
    name: str,
    item_ids: Collection[int],
    once: UUID | None = None,
    now: datetime,
) -> list[Inspection]:
    """Log that a whole rack passed its weekly look, every point in order; faults are reported one by one.

    Raises:
        UnableToInspect: nothing chosen; an item that has no such weekly look, or is away.
    """
    actor.require(Act.INSPECT, station_id=station_id)
    claim = journal.claim(
        actor=actor, act=Act.INSPECT, key=once, asked=[station_id, name, sorted(item_ids)], now=now
    )
    if claim.result_id is not None:
        return []
    chosen = Item.objects.visible_to(actor).filter(station=station_id, pk__in=item_ids).order_by("pk")
    found = queries.worn_items(chosen)
    if not found or len(found) != len(set(item_ids)):
        raise UnableToInspect.at("items", "Tick the items that you looked at.")
    _refuse_what_is_away([worn.item for worn, _ in found])
    intervals = list(Interval.objects.filter(station=station_id))
    records = []
    for worn, _grace in found:
        plans = planned_for(worn.item, intervals)
        plan = next((each for each in plans if each.rule.name == name), None)
        if plan is None or plan.occasion is not wear.Occasion.WEEKLY:
            raise UnableToInspect.at("items", f"{worn.item.tag} has no weekly look “{name}”.")
        all_points = Found(in_order=frozenset(range(len(plan.points))))
        records.append(_record(actor, worn, plan, all_points, now))
    made = Inspection.objects.bulk_create(records)
    _tell(actor, [(each.item, f"Inspected, {name}: passed", each.pk) for each in made], now)
    _release_passed(actor, made, now)
    journal.settle(claim, made[0].pk)
    return made


@write
def hold_back_overdue(*, actor: Actor, now: datetime) -> int:
    """Hold back what is past its inspection and its station's grace; return how many items were."""
    actor.require_system(System.HOLD_BACK)
    count = 0
    for station in Station.objects.order_by("pk"):
        today = station.local(now).date()
        for row in queries.standings(station, today=today):
            for late in row.dues:
                if late.stands.held_back and late.name not in {each.subject for each in row.held}:
                    count += len(
                        fleet.hold_back(
                            actor=actor,
                            act=System.HOLD_BACK,
                            items=[row.item],
                            cause=Cause.INSPECTION,
                            subject=late.name,
                            text=late.stands.reason.text,
                            now=now,
                        )
                    )
                    row.item.refresh_from_db(fields=["state"])
    return count


@write
def release_held(*, actor: Actor, hold_back_id: int, because: str, now: datetime) -> HoldBack:
    """Release an item from one thing that holds it back; it is ready when nothing else does.

    Raises:
        NotVisible: it holds nothing back here any more.
        NotAllowed: the station names another role for it.
        StillHeldBack: its inspection is due still, or the recall has not ended.
        UnableToInspect: no word of what was done.
    """
    held = (
        HoldBack.objects.visible_to(actor)
        .standing()
        .select_for_update(of=("self",))
        .select_related("item__model", "item__station")
        .filter(pk=hold_back_id)
        .first()
    )
    if held is None:
        raise NotVisible("Nothing of that name holds an item back here. Reload the page.")
    station = held.item.station
    actor.require(Act.RELEASE_HELD, station_id=station.pk)
    if not may_release(actor, station):
        raise NotAllowed("To release an item that is held back here you must be manager. Ask one.")
    if not because.strip():
        raise UnableToInspect.at("because", "Enter what was done.")
    if held.cause == Cause.INSPECTION and _is_due(held, station.local(now).date()):
        raise StillHeldBack(f"Its inspection “{held.subject}” is due. Inspect it first.")
    said = f"{held.get_cause_display()}: {because.strip()}"
    fleet.lift(
        actor=actor,
        act=Act.RELEASE_HELD,
        hold_backs=[held],
        because=said,
        not_yet=with_faults([held.item_id]),
        now=now,
    )
    held.refresh_from_db()
    line = journal.Line("item", held.item_id, f"No longer held back, {said}")
    journal.record(actor=actor, act=Act.RELEASE_HELD, station_id=station.pk, lines=[line], now=now)
    return held


@write
def set_bench(*, actor: Actor, station_id: int, grace_days: int, released_by: str, now: datetime) -> Setting:
    """Settle a station's days of grace and who releases what was held back.

    Raises:
        UnableToInspect: a number or role that cannot be.
    """
    actor.require(Act.SET_STATION, station_id=station_id)
    if not 0 <= grace_days <= MOST_GRACE_DAYS:
        raise UnableToInspect.at("grace_days", f"Enter 0 to {MOST_GRACE_DAYS} days.")
    if released_by not in Setting.Releaser.values:
        raise UnableToInspect.at("released_by", "Choose instructor or manager.")
    values = {"grace_days": grace_days, "released_by": released_by}
    setting, _made = Setting.objects.update_or_create(station_id=station_id, defaults=values)
    text = f"Bench: {grace_days} days of grace, released by {setting.get_released_by_display()}"
    _tell_station(actor, station_id, text, now)
    return setting


@write
def set_interval(
    *,
    actor: Actor,
    station_id: int,
    kind: str,
    model_id: int | None,
    name: str,
    every: dict[str, float | None],
    now: datetime,
) -> Interval | None:
    """Settle the intervals of an inspection for a kind or one of its models; none brings the usual back.

    Args:
        every: `every_hours`, `every_rig_ups`, `every_sun_hours`, `every_days`; None where it does not matter.

    Raises:
        UnableToInspect: a kind, model or inspection that there is not, or a number out of range.
    """
    actor.require(Act.SET_STATION, station_id=station_id)
    if kind not in Kind.values:
        raise UnableToInspect.at("kind", "Choose a kind of item.")
    if name not in {each.rule.name for each in wear.planned(kind.replace("_", " "))}:
        raise UnableToInspect.at("name", "Choose one of the inspections of that kind.")
    if model_id is not None and not ItemModel.objects.filter(pk=model_id, kind=kind).exists():
        raise UnableToInspect.at("model", "Choose a model of that kind.")
    for column, unit in INTERVALS.items():
        value = every.get(column)
        if value is not None and not 1 <= value <= 10_000:
            raise UnableToInspect.at(column, f"Enter 1 to 10 000 {unit}, or leave it empty.")
    place: dict[str, Any] = {"station_id": station_id, "kind": kind, "model_id": model_id, "name": name}
    told = ", ".join(f"{every[column]:g} {unit}" for column, unit in INTERVALS.items() if every.get(column))
    text = f"Interval of {kind.replace('_', ' ')}, {name}: {told or 'as usual'}"
    _tell_station(actor, station_id, text, now)
    if not told:
        Interval.objects.filter(**place).delete()
        return None
    values = {column: every.get(column) for column in INTERVALS}
    interval, _made = Interval.objects.update_or_create(**place, defaults=values)
    return interval


def may_release(actor: Actor, station: Station) -> bool:
    """Say whether the station lets this person release what was held back: one query."""
    if not actor.may(Act.RELEASE_HELD, station_id=station.pk):
        return False
    named = queries.setting_of(station).released_by
    return named != Setting.Releaser.MANAGER or Role.MANAGER in actor.roles[station.pk]


def _refuse_what_is_away(items: Iterable[Item]) -> None:
    for item in items:
        if item.state == ItemState.ISSUED:
            raise UnableToInspect(f"{item.tag} is with a rider. Inspect it when it is back.")
        if item.state == ItemState.WITHDRAWN:
            raise UnableToInspect(f"{item.tag} is withdrawn. Its record is closed.")


def _judged(item: Item, plan: wear.Planned, found: Found) -> Found:
    """What was found with the float test judged; refuses what is left open without a word."""
    defects = found.defects.strip()
    if any("float test" in point.lower() for point in plan.points):
        try:
            if found.carried_kg is None:
                raise UnableToInspect.at("carried_kg", "Enter the mass that it carried in the float test.")
            test = wear.float_test(found.carried_kg, item.model.buoyancy_n or 0)
        except BadValue as bad:
            raise UnableToInspect.at("carried_kg", f"Enter 0 to {MOST_CARRIED_KG} kg.") from bad
        if not test.passed:
            defects = f"{test.reason.text} {defects}".strip()
    left_open = [text for number, text in enumerate(plan.points) if number not in found.in_order]
    if left_open and not defects:
        raise UnableToInspect.at("defects", f"Say what is wrong, or tick what is in order: {left_open[0]}.")
    return replace(found, defects=defects[:300], note=found.note.strip()[:300])


def _record(actor: Actor, worn: Worn, plan: wear.Planned, found: Found, now: datetime) -> Inspection:
    passed = not found.defects
    record = Inspection(
        item=worn.item,
        at=now,
        by_id=actor.user_id,
        name=plan.rule.name,
        occasion=plan.occasion.value,
        passed=passed,
        points=[{"text": text, "ok": number in found.in_order} for number, text in enumerate(plan.points)],
        defects=found.defects,
        carried_kg=found.carried_kg,
        note=found.note,
        weighted_s=worn.weighted_s,
        rig_ups=worn.item.rig_ups,
        sun_s=worn.sun_s,
    )
    if passed:
        record.next_due = due(worn, plan, record, now.date(), 0).stands.due_on
    return record


@inside_write
def _release_passed(actor: Actor, records: Sequence[Inspection], now: datetime) -> None:
    """Lift what held items back for the inspections they just passed, where this person may."""
    names = {(record.item_id, record.name) for record in records}
    standing = HoldBack.objects.standing().filter(
        cause=Cause.INSPECTION, item__in=[record.item_id for record in records]
    )
    settled = [each for each in standing if (each.item_id, each.subject) in names]
    if settled and may_release(actor, records[0].item.station):
        fleet.lift(
            actor=actor,
            act=Act.INSPECT,
            hold_backs=settled,
            because="inspected and passed",
            not_yet=with_faults([each.item_id for each in settled]),
            now=now,
        )


def _is_due(held: HoldBack, today: date) -> bool:
    (standing,) = queries.standings_of(Item.objects.filter(pk=held.item_id), today=today)
    return any(each.name == held.subject and each.stands.due for each in standing.dues)


def _tell(actor: Actor, told: Sequence[tuple[Item, str, int]], now: datetime) -> None:
    lines = [journal.Line("item", item.pk, text, {"inspection": pk}) for item, text, pk in told]
    station_id = told[0][0].station_id
    journal.record(actor=actor, act=Act.INSPECT, station_id=station_id, lines=lines, now=now)


def _tell_station(actor: Actor, station_id: int, text: str, now: datetime) -> None:
    line = journal.Line("station", station_id, text)
    journal.record(actor=actor, act=Act.SET_STATION, station_id=station_id, lines=[line], now=now)
