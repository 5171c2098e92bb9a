"""Handing a whole party its kit."""

from collections.abc import Mapping
from datetime import datetime

from rentals.bookings import services as bookings
from rentals.bookings.models import Outing
from rentals.lib.access import Actor
from rentals.lib.problems import Refused
from rentals.lib.writes import write


class NobodyNamed(Refused):
    """No rider was ticked."""

    slug = "nobody-named"
    title = "Nobody is ticked"


@write
def issue_party(*, actor: Actor, kits: Mapping[int, int], now: datetime) -> list[Outing]:
    """Hand several riders their kit at once, all or nobody.

    Args:
        actor: who hands over.
        kits: the number of the kit by the outing's id, as the page showed it.
        now: the moment.

    Raises:
        NobodyNamed: there is none to hand over.
        UnableToMoveOuting, UnableToMove: as `bookings.services.issue_kit`, for any of them.
    """
    if not kits:
        raise NobodyNamed("Tick who gets their kit.")
    return [bookings.hand_over(actor, outing_id, kit_no, now) for outing_id, kit_no in sorted(kits.items())]
