"""Who may be on the water though the log does not have them there."""

from rentals.afloat.models import LateCheck
from rentals.stations.models import Station


def may_be_out(station: Station) -> tuple[LateCheck, ...]:
    """Return the newest refused late check of each rider who may be afloat, the oldest first: one query."""
    open_notes = LateCheck.objects.filter(outing__station=station).unsettled()
    newest = {
        late.outing_id: late for late in open_notes.select_related("outing__rider", "by").order_by("id")
    }
    return tuple(newest.values())
