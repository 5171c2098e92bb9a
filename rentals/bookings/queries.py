"""Outings as pages ask for them."""

from rentals.bookings.models import KitPart, Outing
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
