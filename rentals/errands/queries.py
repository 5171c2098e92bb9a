"""Reading errands."""

from rentals.errands.models import Errand
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.stations.models import Station


def errand_for(actor: Actor, station: Station, errand_id: int) -> Errand:
    """Return an errand of a station: one query.

    Raises:
        NotVisible: there is none for this person.
    """
    known = Errand.objects.visible_to(actor).filter(station=station, pk=errand_id).select_related("made_by")
    errand = known.defer("asked").first()
    if errand is None:
        raise NotVisible("There is no such work here.")
    return errand


def file_of(actor: Actor, station: Station, errand_id: str) -> str:
    """Return the table that an errand left: one query.

    Raises:
        NotVisible: there is none, or it was let go for a newer one.
    """
    known = Errand.objects.visible_to(actor).filter(station=station)
    errand = known.filter(pk=int(errand_id)).first() if errand_id.isdecimal() else None
    table = errand.result.get("csv") if errand is not None and isinstance(errand.result, dict) else None
    if table is None:
        raise NotVisible("There is no such file here. Ask for it again.")
    return str(table)
