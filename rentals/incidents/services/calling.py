"""Noting who was told of a rider in distress."""

from datetime import datetime
from uuid import UUID

from rentals.audit import services as journal
from rentals.bookings import services as bookings
from rentals.incidents.models import CallMade
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Refused
from rentals.lib.writes import write

WHOM, SAID = 120, 500


class UnableToNoteCall(Refused):
    """A call to nobody."""

    slug = "call-refused"
    title = "Check the call"


@write
def note_call(
    *, actor: Actor, outing_id: int, whom: str, words: str = "", once: UUID | None = None, now: datetime
) -> CallMade:
    """Note that somebody was told of an outing in distress.

    Raises:
        NotVisible: no such outing.
        UnableToNoteCall: nobody named.
    """
    outing = bookings.visible_outing(actor, outing_id)
    actor.require(Act.NOTE_CALL, station_id=outing.station_id)
    claim = journal.claim(actor=actor, act=Act.NOTE_CALL, key=once, asked=[outing_id, whom, words], now=now)
    if claim.result_id is not None:
        return CallMade.objects.get(pk=claim.result_id)
    if not whom.strip():
        raise UnableToNoteCall.at("whom", "Enter whom you told.")
    call = CallMade.objects.create(
        outing=outing, at=now, by_id=actor.person_id, whom=whom.strip()[:WHOM], words=words.strip()[:SAID]
    )
    line = journal.Line("outing", outing.pk, f"Told {call.whom}" + (f": {call.words}" if call.words else ""))
    journal.record(actor=actor, act=Act.NOTE_CALL, station_id=outing.station_id, lines=[line], now=now)
    journal.settle(claim, call.pk)
    return call
