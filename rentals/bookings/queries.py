"""Outings as pages ask for them."""

from dataclasses import dataclass
from datetime import datetime

from rentals.bookings.models import KitPart, Outing
from rentals.bookings.states import OutingState
from rentals.fleet.models import Cause, HoldBack, Item
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.stations.models import Station


def kit_in_force(outing: Outing) -> list[KitPart]:
    """Return the kit an outing has now, with items and models: one query."""
    return list(KitPart.objects.filter(outing=outing).in_force().with_items())


def outing_for(actor: Actor, station: Station, outing_id: int) -> Outing:
    """Return an outing of a station with its faces: one query.

    Raises:
        NotVisible: there is none there for this actor.
    """
    outing = Outing.objects.visible_to(actor).filter(station=station, pk=outing_id).with_faces().first()
    if outing is None:
        raise NotVisible("There is no such outing here.")
    outing.station = station
    return outing


@dataclass(frozen=True, slots=True)
class InTheWay:
    """Another rider who has items of a kit, or is promised them first."""

    outing: Outing
    tags: tuple[str, ...]
    has_it: bool


def in_the_way(outing: Outing, *, now: datetime) -> tuple[InTheWay, ...]:
    """Return who keeps a chosen kit from being issued, by when they are due: one query.

    Args:
        outing: with a kit that its rider does not have yet.
        now: the moment; a promise that is over by then stands in nobody's way.
    """
    mine = KitPart.objects.filter(outing=outing).to_issue().values("item_id")
    others = KitPart.objects.filter(item__in=mine).exclude(outing=outing)
    rows = (others.with_rider() | others.promised_before(outing, now)).select_related("item", "outing__rider")
    found: dict[int, list[KitPart]] = {}
    for part in rows.order_by("outing__ends_at", "item__tag"):
        found.setdefault(part.outing_id, []).append(part)
    return tuple(
        InTheWay(parts[0].outing, tuple(part.item.tag for part in parts), has_it=bool(parts[0].issued_at))
        for parts in found.values()
    )


@dataclass(frozen=True, slots=True)
class CalledBack:
    """A rider who is out with an item that was called back."""

    outing: Outing
    item: Item
    text: str


def out_on_recalled(station: Station) -> tuple[CalledBack, ...]:
    """Return the riders who have a recalled item with them, those afloat first: two queries."""
    standing = HoldBack.objects.standing().filter(cause=Cause.RECALL, item__station=station)
    texts = dict(standing.values_list("item_id", "text"))
    parts = KitPart.objects.filter(item__in=texts).with_rider().select_related("item__model", "outing__rider")
    found = [CalledBack(part.outing, part.item, texts[part.item_id]) for part in parts]
    return tuple(
        sorted(found, key=lambda each: (each.outing.state != OutingState.AFLOAT, each.outing.ends_at))
    )


def station_of(actor: Actor, outing_id: int) -> int:
    """Return the station of an outing the actor may see, for a write that locks the station first: one query.

    Raises:
        NotVisible: there is none for this actor.
    """
    found = Outing.objects.visible_to(actor).filter(pk=outing_id).values_list("station_id", flat=True).first()
    if found is None:
        raise NotVisible("There is no such outing here.")
    return found
