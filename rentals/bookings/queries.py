"""Outings as pages ask for them."""

from rentals.bookings.models import Outing
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.stations.models import Station


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
