"""Outings as pages ask for them."""

from dataclasses import dataclass

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
