"""Secret links: opening one more for a party, and withdrawing all of them."""

from datetime import datetime

from rentals.audit import services as journal
from rentals.home.models import Guest, Link
from rentals.lib.access import Act, Actor, System
from rentals.lib.problems import NotVisible
from rentals.lib.secret import digest, new_token
from rentals.lib.writes import write


@write
def open_link(*, actor: Actor, guest_id: int, now: datetime) -> str:
    """Return a fresh token of a party's page; the row keeps its digest only."""
    actor.require_system(System.HOME)
    token = new_token()
    Link.objects.create(guest_id=guest_id, digest=digest(token), made_at=now)
    return token


@write
def revoke_links(*, actor: Actor, guest_id: int, now: datetime) -> Guest:
    """Withdraw every secret link of a party, for one that fell into wrong hands; letters bring new ones.

    Raises:
        NotVisible: no such party at the actor's stations.
    """
    guest = (
        Guest.objects.with_booking()
        .filter(pk=guest_id, booking__party__station__in=actor.station_ids)
        .first()
    )
    if guest is None:
        raise NotVisible("There is no such party here.")
    station_id = guest.booking.party.station_id
    actor.require(Act.BOOK, station_id=station_id)
    Link.objects.filter(guest=guest, revoked_at=None).update(revoked_at=now)
    line = journal.Line("booking", guest.booking_id, "Withdrew the party's secret links")
    journal.record(actor=actor, act=Act.BOOK, station_id=station_id, lines=[line], now=now)
    return guest
