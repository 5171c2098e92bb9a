"""Erasing a rider: facts of kit, money and safety stay, everything that says who it was goes."""

from collections.abc import Iterable
from datetime import date, datetime
from typing import Any, Final

from rentals.audit import services as journal
from rentals.bookings.models import Booking, Outing, Party
from rentals.bookings.states import NOT_YET_AFLOAT, ON_THE_WATER_OR_BACK
from rentals.home.models import Guest, Link, Signature
from rentals.lib.access import Act, Actor, System
from rentals.lib.problems import Conflict
from rentals.lib.writes import inside_write, write
from rentals.mail.models import Letter
from rentals.people.models import MedicalNote, Rider
from rentals.privacy import queries
from rentals.privacy.services.scrubbing import GONE, Secret, scrub

COARSE: Final = 5
"""Kilograms and centimetres to which mass and stature are rounded: enough to know what kit wore. Policy."""

NOWHERE: Final = "erased@marram.invalid"


class UnableToErase(Conflict):
    """The rider is still expected, or still has kit."""

    slug = "erasure-refused"
    title = "That rider cannot be erased yet"


@write
def export_rider(*, actor: Actor, rider_id: int, now: datetime) -> dict[str, Any]:
    """Return all that is kept of a rider, and note that it was handed out.

    Raises:
        NotVisible: no such rider at the actor's stations.
    """
    rider = queries.rider_for(actor, rider_id)
    actor.require(Act.ERASE, station_id=rider.station_id)
    line = journal.Line("rider", rider.pk, "Exported what is kept of the rider")
    journal.record(actor=actor, act=Act.ERASE, station_id=rider.station_id, lines=[line], now=now)
    return queries.export_of(rider)


@write
def erase_rider(*, actor: Actor, rider_id: int, now: datetime) -> Rider:
    """Erase a rider on request; erasing twice changes nothing more.

    Raises:
        NotVisible: no such rider at the actor's stations.
        UnableToErase: an outing of theirs is to come or not closed.
    """
    rider = queries.rider_for(actor, rider_id)
    actor.require(Act.ERASE, station_id=rider.station_id)
    erase(actor=actor, act=Act.ERASE, rider=rider, now=now)
    return rider


@inside_write
def erase(*, actor: Actor, act: Act | System, rider: Rider, now: datetime) -> None:
    """Erase a rider as part of a write that has asked who may.

    Raises:
        UnableToErase: an outing of theirs is to come or not closed.
    """
    open_states = (*NOT_YET_AFLOAT, *ON_THE_WATER_OR_BACK)
    if Outing.objects.filter(rider=rider, state__in=open_states).exists():
        raise UnableToErase("An outing of this rider is to come or not closed. Close or cancel it first.")
    found = queries.reach(rider)
    secrets = _secrets(found)
    with journal.redaction(
        actor=actor, station_id=rider.station_id, subject_kind="rider", subject_id=rider.pk, now=now
    ):
        _blank_rider(rider)
        _blank_parties(found)
        scrub(secrets, found)
    line = journal.Line("rider", rider.pk, "Erased what says who the rider was")
    journal.record(actor=actor, act=act, station_id=rider.station_id, lines=[line], now=now)


def _secrets(found: queries.Reach) -> list[Secret]:
    """Words that say who the rider was; a name that others bear is struck out where the rider is meant."""
    rider = found.rider
    parties = list(Party.objects.filter(pk__in=found.parties))
    notes = Booking.objects.filter(pk__in=found.bookings).exclude(note="").values_list("note", flat=True)
    names = {rider.name, rider.guardian_name, *(party.contact_name for party in parties)}
    ways = {rider.phone, rider.guardian_phone}
    ways |= {way for party in parties for way in (party.contact_phone, party.contact_email)}
    others = set(Rider.objects.exclude(pk=rider.pk).filter(name__in=names).values_list("name", flat=True))
    others |= set(
        Party.objects.exclude(pk__in=found.parties)
        .filter(contact_name__in=names)
        .values_list("contact_name", flat=True)
    )
    stands_for = f"rider {rider.pk}"
    return [
        *(Secret(name, stands_for, everywhere=name not in others and " " in name) for name in _said(names)),
        *(Secret(way, GONE, everywhere=True) for way in _said(ways)),
        *(Secret(note, GONE, everywhere=False) for note in _said(notes)),
    ]


def _said(words: Iterable[str]) -> list[str]:
    """The words that are there, the longest first, so that none is left of one that holds another."""
    return sorted({word for word in words if word.strip()}, key=lambda word: (-len(word), word))


@inside_write
def _blank_rider(rider: Rider) -> None:
    """Leave what kit was worn by whom: year of birth, level, and mass and stature rounded."""
    rider.name = f"Rider {rider.pk}"
    rider.born_on = date(rider.born_on.year, 1, 1)
    rider.mass_kg = round(rider.mass_kg / COARSE) * COARSE
    rider.stature_cm = round(rider.stature_cm / COARSE) * COARSE
    rider.phone = rider.guardian_phone = ""
    rider.guardian_name = GONE if rider.guardian_consent_at else ""
    rider.save()
    MedicalNote.objects.filter(rider=rider).delete()


@inside_write
def _blank_parties(found: queries.Reach) -> None:
    """Leave that a party came; take who spoke for it, and how it was reached."""
    Party.objects.filter(pk__in=found.parties).update(contact_name=GONE, contact_phone=GONE, contact_email="")
    Booking.objects.filter(pk__in=found.bookings).update(note="")
    Letter.objects.filter(about__in=[f"booking:{pk}" for pk in found.bookings]).update(
        to=NOWHERE, subject=GONE, body="", calendar="", error=""
    )
    guests = Guest.objects.filter(booking__in=found.bookings)
    Link.objects.filter(guest__in=guests).delete()
    guests.update(fingerprint="")
    Signature.objects.filter(rider=found.rider).update(name=GONE)
