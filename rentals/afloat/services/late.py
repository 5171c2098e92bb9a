"""Launch checks that a device kept and the service then refused: their riders may be on the water already."""

from datetime import datetime
from uuid import UUID

from rentals.afloat.models import LateCheck, LateSettled
from rentals.audit import services as journal
from rentals.bookings import services as bookings
from rentals.bookings.models import Outing
from rentals.bookings.states import OutingState
from rentals.lib.access import Act, Actor
from rentals.lib.when import Arrival
from rentals.lib.writes import inside_write, write
from rentals.mail import services as mail
from rigging import checks

LONGEST_WHY = 500
LOOK = "Look for them. Out: call them ashore, or let them go by a new check. Not out: say so."


@write
def note_late(
    *, actor: Actor, outing_id: int, waited_s: int, why: str, once: UUID | None = None, now: datetime
) -> LateCheck | None:
    """Note that a check which a device kept was refused when it came, unless the log knows the rider's way.

    Args:
        actor: the instructor who ticked it.
        outing_id: which outing.
        waited_s: how long it waited on the device.
        why: the refusal, as it was told.
        once: the check's own key: however often it is sent, it is noted once.
        now: the moment.

    Returns:
        The note; None where the rider is logged afloat, or was logged ashore after the check was ticked.
    """
    outing = bookings.visible_outing(actor, outing_id)
    actor.require(Act.CHECK_LAUNCH, station_id=outing.station_id)
    return keep_late(actor, outing, Arrival.of(waited_s, now=now), why, once=once, now=now)


@inside_write
def keep_late(
    actor: Actor, outing: Outing, arrival: Arrival, why: str, *, once: UUID | None, now: datetime
) -> LateCheck | None:
    """Note a refused late check as part of a write, as `note_late` does."""
    known = LateCheck.objects.filter(by_id=actor.person_id, once=once).first() if once else None
    if known or _is_logged(outing, arrival):
        return known
    late = LateCheck.objects.create(
        outing=outing,
        at=now,
        ticked_at=arrival.ticked_at,
        by_id=actor.person_id,
        once=once,
        why=why[:LONGEST_WHY],
    )
    station = outing.station
    told = f"{outing.rider} may be afloat: a launch check was refused{arrival.words(station.zone)}. {why}"
    line = journal.Line("outing", outing.pk, told)
    journal.record(actor=actor, act=Act.CHECK_LAUNCH, station_id=station.pk, lines=[line], now=now)
    mail.write_letter(
        event=f"late-check:{late.pk}",
        to=station.watch_email,
        subject=f"{outing.rider} may be afloat at {station.name}, and is not in the log",
        body=f"{told}\n\n{LOOK} The Afloat page shows it until then.\n\n{checks.RESCUE_FIRST}\n",
        now=now,
    )
    return late


@write
def not_out(*, actor: Actor, outing_id: int, now: datetime) -> int:
    """Settle the notes on an outing by somebody's word that its rider is not out; a second word finds none.

    Returns:
        How many notes were settled.
    """
    outing = bookings.visible_outing(actor, outing_id)
    actor.require(Act.CHECK_LAUNCH, station_id=outing.station_id)
    settled = settle_late(actor, outing, now=now)
    if settled:
        line = journal.Line("outing", outing.pk, f"{actor.name} looked: {outing.rider} is not out")
        journal.record(actor=actor, act=Act.CHECK_LAUNCH, station_id=outing.station_id, lines=[line], now=now)
    return settled


@inside_write
def settle_late(actor: Actor, outing: Outing, *, now: datetime) -> int:
    """Settle every open note on an outing; return how many there were."""
    notes = list(LateCheck.objects.filter(outing=outing).unsettled())
    LateSettled.objects.bulk_create(LateSettled(late=each, by_id=actor.person_id, at=now) for each in notes)
    return len(notes)


def _is_logged(outing: Outing, arrival: Arrival) -> bool:
    """Say whether the log has the rider's way since the check: on the water now, or ashore after it."""
    if outing.state == OutingState.AFLOAT:
        return True
    landed = outing.ashore_at
    return landed is not None and arrival.ticked_at is not None and landed >= arrival.ticked_at
