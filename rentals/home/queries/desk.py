"""What the desk sees of people at home: who comes, who waits, and what became of letters."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db.models import CharField, Value
from django.db.models.functions import Cast, Concat

from rentals.bookings.models import Booking, Outing
from rentals.home.models import Guest
from rentals.home.states import GuestState
from rentals.lib.when import day_bounds
from rentals.mail.models import Letter
from rentals.stations.models import Station

SHOWN_GUESTS: Final = 100
SHOWN_LETTERS: Final = 200
SHOWN_FOR: Final = timedelta(days=30)
"""As long as the text of letters is kept. Policy."""


@dataclass(frozen=True, slots=True)
class GuestRow:
    """A party from home as the desk sees it, with what became of its letters."""

    guest: Guest
    letters: tuple[Letter, ...]

    @property
    def bounced(self) -> tuple[Letter, ...]:
        """Letters that will never arrive."""
        return tuple(letter for letter in self.letters if letter.bounced_at)

    @property
    def letters_lost(self) -> int:
        """How many they are."""
        return len(self.bounced)


def guests_at(station: Station, *, state: str = "", now: datetime) -> tuple[GuestRow, ...]:
    """Return parties to come that are written to, with their letters: two queries.

    Those who wait come in the order in which they joined, others by time.
    """
    start, _end = day_bounds(station.local(now).date(), station.zone)
    coming = Guest.objects.with_booking().filter(booking__party__station=station, starts_at__gte=start)
    if state:
        coming = coming.filter(state=state)
    order = ("joined_at", "id") if state == GuestState.WAITING else ("starts_at", "joined_at", "id")
    guests = list(coming.order_by(*order)[:SHOWN_GUESTS])
    letters = letters_of([guest.booking_id for guest in guests])
    return tuple(GuestRow(guest, tuple(letters.get(guest.booking_id, ()))) for guest in guests)


def letters_of(booking_ids: Sequence[int]) -> dict[int, list[Letter]]:
    """Return the letters of bookings, newest first: one query."""
    found: dict[int, list[Letter]] = {}
    for letter in Letter.objects.concerning(*(f"booking:{pk}" for pk in booking_ids)):
        found.setdefault(int(letter.about.rpartition(":")[2]), []).append(letter)
    return found


@dataclass(frozen=True, slots=True)
class Sent:
    """A letter to a party of a station, and an outing that it is about."""

    letter: Letter
    outing: Outing | None

    @property
    def party(self) -> str:
        """Who was written to."""
        return self.outing.booking.party.contact_name if self.outing else ""


def outbox(station: Station, *, lost: bool = False, now: datetime) -> tuple[Sent, ...]:
    """Return the letters of the last thirty days to parties of a station, newest first: two queries.

    Args:
        station: whose.
        lost: only those that came back or could not be sent yet.
        now: the moment.
    """
    mine = Booking.objects.filter(party__station=station).annotate(
        key=Concat(Value("booking:"), Cast("pk", CharField()))
    )
    letters = Letter.objects.filter(about__in=mine.values("key"), written_at__gt=now - SHOWN_FOR)
    if lost:
        letters = letters.exclude(error="")
    found = list(letters.order_by("-id")[:SHOWN_LETTERS])
    ids = {int(letter.about.rpartition(":")[2]) for letter in found}
    outings: dict[int, Outing] = {}
    for outing in (
        Outing.objects.filter(booking__in=ids).select_related("booking__party").order_by("starts_at", "id")
    ):
        outings.setdefault(outing.booking_id, outing)
    return tuple(Sent(letter, outings.get(int(letter.about.rpartition(":")[2]))) for letter in found)
