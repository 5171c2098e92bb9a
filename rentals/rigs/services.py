"""Choosing an outing's kit: sail, the parts that rig it, board and what is worn; and making its card."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from rentals.audit import services as journal
from rentals.bookings import services as bookings
from rentals.bookings.models import Outing
from rentals.fleet import services as fleet
from rentals.fleet.mapping import item_to_core
from rentals.fleet.models import RIG_PARTS, WORN, Hold, Item, Kind
from rentals.lessons.models import Lesson
from rentals.lessons.states import LessonState
from rentals.lib.access import Act, Actor
from rentals.lib.problems import NotVisible, Refused
from rentals.lib.writes import inside_write, write
from rentals.people.mapping import rider_to_core
from rentals.rigs import queries
from rentals.rigs.mapping import choice_to_json, settings_to_json, slot_to_json
from rentals.rigs.models import Card
from rigging import kit, sizing, trim, wind

FORMULAS = "2026.1"
"""Version of the formulas a card was made with; raise it when a number would come out otherwise."""


class UnableToKit(Refused):
    """The chosen kit cannot be given."""

    slug = "kit-refused"
    title = "Check the kit"


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What staff chose: sail and board by item, what is worn, and parts of the rig where not the best fit."""

    sail_id: int
    board_id: int
    parts: Mapping[Kind, int] = field(default_factory=dict)
    worn: Mapping[Kind, int] = field(default_factory=dict)
    override_reason: str = ""


@write
def kit_outing(
    *, actor: Actor, outing_id: int, choice: Choice, once: UUID | None = None, now: datetime
) -> Card:
    """Hold a whole kit for an outing and make its rig card.

    Raises:
        UnableToKit: no wind for the slot; an item that is not free; a sail or board that does not suit,
            without a reason; parts that do not fit. `fields` says which.
        UnableToHold: somebody took an item meanwhile.
        UnableToMoveOuting: the kit is with the rider already.
    """
    outing = bookings.visible_outing(actor, outing_id)
    actor.require(Act.ASSIGN_KIT, station_id=outing.station_id)
    asked = [
        outing_id,
        choice.sail_id,
        choice.board_id,
        dict(choice.parts),
        dict(choice.worn),
        choice.override_reason,
    ]
    claim = journal.claim(actor=actor, act=Act.ASSIGN_KIT, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Card.objects.get(pk=claim.result_id)
    found = queries.offers(outing, now=now)
    sail = _chosen_sail(found, choice)
    items = _whole_kit(outing, found, sail, choice)
    against = bool(sail.advice.vetoes) or not found.board_suits(choice.board_id)
    bookings.put_kit(outing=outing, items={part: item.pk for part, item in items.items()}, now=now)
    assert found.slot is not None  # noqa: S101 - a kit without a wind was refused
    card = make_card(
        actor=actor,
        outing=outing,
        slot=found.slot,
        advice=sail.advice,
        parts_reason=sail.parts_reason,
        items=items,
        override_reason=choice.override_reason.strip() if against else "",
        now=now,
    )
    said = choice.override_reason.strip()
    reason = f"{', against advice' if against else ''}: {said}" if said else ""
    text = f"Kit chosen: {items[Kind.SAIL]} {items[Kind.SAIL].model.name}{reason}"
    line = journal.Line("outing", outing.pk, text, {part: item.tag for part, item in items.items()})
    journal.record(actor=actor, act=Act.ASSIGN_KIT, station_id=outing.station_id, lines=[line], now=now)
    journal.settle(claim, card.pk)
    return card


@write
def keep_spares(*, actor: Actor, lesson_id: int, now: datetime) -> tuple[queries.SpareRig, ...]:
    """Keep spare rigs of the students' sizes for a lesson, in place of those kept before.

    Raises:
        NotVisible: no such lesson at the actor's stations.
        UnableToKit: it is called off or over, no student has a sail yet, or no whole rig is free.
        UnableToHold: somebody took a part meanwhile.
    """
    lesson = Lesson.objects.visible_to(actor).select_related("course__station").filter(pk=lesson_id).first()
    if lesson is None:
        raise NotVisible("There is no such lesson here.")
    station = lesson.course.station
    actor.require(Act.ASSIGN_KIT, station_id=station.pk)
    if lesson.state != LessonState.PLANNED or lesson.ends_at <= now:
        raise UnableToKit("The lesson is called off or over.")
    kept = Hold.objects.filter(purpose=lesson.spares, live=True)
    fleet.end_holds(hold_ids=list(kept.values_list("pk", flat=True)))
    spares = queries.spare_rigs(lesson, station)
    if not spares:
        raise UnableToKit("No student has a sail yet, or no whole rig is free. Plan the kit first.")
    fleet.take_holds(
        item_ids=[item.pk for rig in spares for item in rig.items.values()],
        starts_at=lesson.starts_at,
        ends_at=lesson.ends_at + timedelta(minutes=station.turn_round_min),
        purpose=lesson.spares,
    )
    tags = ", ".join(rig.items[Kind.SAIL].tag for rig in spares)
    line = journal.Line("lesson", lesson.pk, f"Spare rigs on the beach: {tags}")
    journal.record(actor=actor, act=Act.ASSIGN_KIT, station_id=station.pk, lines=[line], now=now)
    return spares


def _chosen_sail(found: queries.Offers, choice: Choice) -> queries.SailOffer:
    if found.slot is None:
        raise UnableToKit(found.no_wind)
    offer = found.sail(choice.sail_id)
    if offer is None:
        raise UnableToKit.at("sail", "That sail is not free at that time. Choose one from the list.")
    if offer.advice.vetoes and not choice.override_reason.strip():
        against = " ".join(veto.text for veto in offer.advice.vetoes)
        raise UnableToKit.at("override_reason", f"{against} Enter why you give it all the same.")
    return offer


def _whole_kit(
    outing: Outing, found: queries.Offers, offer: queries.SailOffer, choice: Choice
) -> dict[Kind, Item]:
    """Return every item of the kit, refusing what is not free, does not fit or does not suit."""
    items = {Kind.SAIL: offer.item, **_rig_parts(found, offer, choice)}
    board = next((each for each in found.boards if each.item.pk == choice.board_id), None)
    if board is None:
        raise UnableToKit.at("board", "That board is not free at that time. Choose one from the list.")
    if not board.suits.ok and not choice.override_reason.strip():
        against = " ".join(reason.text for reason in board.suits.reasons)
        raise UnableToKit.at("override_reason", f"{against} Enter why you give this board all the same.")
    items[Kind.BOARD] = board.item
    fin = queries.fin_for(board.item, offer.advice.sail.area_m2, found.fins)
    if fin is not None:
        items[Kind.FIN] = fin
    for kind, item_id in choice.worn.items():
        if kind not in WORN:
            raise UnableToKit.at(kind, "Choose something to wear.")
        items[kind] = _one_of(found.worn[kind], kind, item_id)
    return items


def _rig_parts(found: queries.Offers, offer: queries.SailOffer, choice: Choice) -> dict[Kind, Item]:
    unknown = set(choice.parts) - set(found.spares)
    if unknown:
        raise UnableToKit.at(min(unknown), "Choose mast, boom, extension and base.")
    spares = {
        kind: (_one_of(items, kind, choice.parts[kind]),) if kind in choice.parts else items
        for kind, items in found.spares.items()
    }
    rig, why = queries.rig_for(offer.advice.sail, spares)
    if rig is not None:
        return rig
    field_name = next(iter(choice.parts), Kind.SAIL).value
    raise UnableToKit.at(field_name, f"{_misfits(offer, spares) or why} Choose other parts or another sail.")


def _misfits(offer: queries.SailOffer, spares: Mapping[Kind, tuple[Item, ...]]) -> str:
    """Return in words why parts that were all named do not fit."""
    if any(len(items) != 1 for items in spares.values()):
        return ""
    named = {kind.value: item_to_core(items[0]) for kind, items in spares.items()}
    return " ".join(misfit.text for misfit in kit.fit(offer.advice.sail, **named).misfits)  # type: ignore[arg-type]


def _one_of(items: tuple[Item, ...], kind: Kind, item_id: int) -> Item:
    found = next((item for item in items if item.pk == item_id), None)
    if found is None:
        raise UnableToKit.at(
            kind.value, f"That {kind.replace('_', ' ')} is not free at that time. Choose another."
        )
    return found


@inside_write
def make_card(
    *,
    actor: Actor,
    outing: Outing,
    slot: wind.SlotWind,
    advice: sizing.Recommendation,
    parts_reason: str,
    items: Mapping[Kind, Item],
    override_reason: str = "",
    now: datetime,
) -> Card:
    """Keep the rig card of an outing's kit in force: its settings, with what they were made from."""
    rider = rider_to_core(outing.rider)
    named = {kind.value: item_to_core(items[kind]) for kind in RIG_PARTS}
    settings = trim.settings(
        **named,  # type: ignore[arg-type]
        rider=rider,
        beach_ms=slot.beach_mean_ms,
        window=advice.window,
    )
    return Card.objects.create(
        outing=outing,
        kit_no=outing.kit_no,
        made_at=now,
        made_by_id=actor.user_id,
        choice={**choice_to_json(advice), "parts_reason": parts_reason},
        settings=settings_to_json(settings),
        inputs={
            "rider": {"mass_kg": rider.mass_kg, "stature_m": rider.stature_m, "level": rider.level.value},
            "slot": slot_to_json(slot),
            "items": {kind.value: item.pk for kind, item in items.items()},
            "tags": {kind.value: item.tag for kind, item in items.items()},
        },
        formulas=FORMULAS,
        override_reason=override_reason,
    )
