"""Booking from home, never against the promise, and joining the queue for a place that was taken."""

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Final, TypeVar
from uuid import UUID

from django.utils.translation import gettext as _

from rentals.bookings import services as bookings
from rentals.bookings.models import Booking
from rentals.dayplan.queries import Wish
from rentals.home import queries
from rentals.home.models import Front, Guest
from rentals.home.services import telling
from rentals.home.services.signing import sign
from rentals.home.states import GuestState
from rentals.lib.access import Actor, System
from rentals.lib.problems import Conflict, Refused
from rentals.lib.writes import inside_write, write
from rentals.people import services as people
from rentals.people.models import Rider

MOST_FROM_HOME: Final = 6
"""Larger parties call the desk. Policy."""

Kept = TypeVar("Kept")

TRIES: Final = 3
"""How often a promise is looked at anew because somebody else booked meanwhile. Policy."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A party at home: who speaks for it, when it wants to come, its riders, and the form's own key."""

    contact: bookings.Contact
    starts_at: datetime
    ends_at: datetime
    riders: tuple[people.RiderFacts, ...]
    language: str
    once: UUID
    note: str = ""

    def wish(self) -> Wish:
        """The party as the day plan looks at it."""
        riders = tuple(
            Rider(mass_kg=rider.mass_kg, stature_cm=rider.stature_cm, level=rider.level)
            for rider in self.riders
        )
        return Wish(kind=Booking.Kind.RENTAL, starts_at=self.starts_at, ends_at=self.ends_at, riders=riders)

    def fingerprint(self) -> str:
        """A digest of everything that was asked, to know a form sent twice from one changed meanwhile."""
        told = json.dumps(asdict(self), default=str, sort_keys=True)
        return hashlib.sha256(told.encode()).hexdigest()


class UnableToPromise(Conflict):
    """The shed cannot promise the party that time, or not any more. Nobody at home books against it."""

    slug = "no-promise"
    title = "That time cannot be promised"


class UnableToRepeat(Refused):
    """The form was sent before with other values."""

    slug = "form-used"
    title = "This form was already used"


class DayMoved(Exception):
    """Somebody booked on that day since the promise was looked at."""


def book_from_home(*, actor: Actor, front: Front, asked: Asked, now: datetime) -> Guest:
    """Book a party whose riders can all be served beside those booked; the same form again books once.

    The promise takes the solver's time and is looked at before the write; the write then holds only on the
    day that was looked at, and is tried anew when somebody was quicker.

    Raises:
        UnableToBook: a fact that cannot be, with its field.
        UnableToPromise: the shed cannot serve all of them, or the last place went to somebody else.
        UnableToRepeat: the form was sent before with other values.
    """
    done = done_before(asked)
    if done is not None:
        return done
    check_asked(front, asked, now)
    return keep_promised(
        lambda: queries.see(front.station, asked.wish(), phone=front.phone, now=now),
        lambda mark: keep_asked(actor=actor, front_id=front.pk, asked=asked, mark=mark, now=now),
    )


def keep_promised(look: Callable[[], queries.Seen], keep: Callable[[str], Kept]) -> Kept:
    """Look at the day and keep what it promises under its mark; both anew where it moved meanwhile.

    Raises:
        UnableToPromise: the shed cannot, or somebody else was quicker again and again.
    """
    for _try in range(TRIES):
        seen = look()
        if not seen.holds:
            raise UnableToPromise(seen.text)
        try:
            return keep(seen.mark)
        except DayMoved:
            continue
    raise UnableToPromise(_("Many people are booking for that day right now. Please try once more."))


@write
def keep_asked(*, actor: Actor, front_id: int, asked: Asked, mark: str, now: datetime) -> Guest:
    """Keep a booking on the day that was looked at.

    Raises:
        DayMoved: the day is not the one that was looked at.
    """
    actor.require_system(System.HOME)
    front = locked(front_id)
    done = done_before(asked)
    if done is not None:
        return done
    if queries.mark_of(front.station, asked.starts_at) != mark:
        raise DayMoved
    guest, riders = _welcome(actor, front, asked, GuestState.BOOKED, now)
    bookings.promise_outings(
        actor=actor,
        act=System.HOME,
        booking=guest.booking,
        riders=riders,
        spans=[(asked.starts_at, asked.ends_at)],
        now=now,
    )
    telling.confirm(guest=guest, front=front, now=now)
    return guest


@write
def join_queue(*, actor: Actor, front_id: int, asked: Asked, now: datetime) -> Guest:
    """Put a party on the waiting list of a time; when a place comes free it is offered, in order of coming.

    Raises:
        UnableToBook: a fact that cannot be, with its field.
        UnableToRepeat: the form was sent before with other values.
    """
    actor.require_system(System.HOME)
    front = locked(front_id)
    done = done_before(asked)
    if done is not None:
        return done
    check_asked(front, asked, now)
    guest, _riders = _welcome(actor, front, asked, GuestState.WAITING, now)
    telling.queued(guest=guest, front=front, now=now)
    return guest


def locked(front_id: int) -> Front:
    """Return a front, locked: bookings from home at one station go one after another."""
    return Front.objects.select_for_update(of=("self",)).select_related("station").get(pk=front_id)


def check_time(front: Front, starts_at: datetime, now: datetime) -> None:
    """Refuse a start that is too soon or too far ahead for a booking from home.

    Raises:
        UnableToBook: with what to do instead.
    """
    if starts_at < now + timedelta(minutes=front.lead_min):
        said = _("That is too soon to book from home. Choose a later time, or call %(phone)s.")
        raise bookings.UnableToBook.at("starts_at", said % {"phone": front.phone})
    last = front.station.local(now).date() + timedelta(days=front.days_ahead)
    if front.station.local(starts_at).date() > last:
        said = _("That is too far ahead. Bookings are open for the next %(days)s days.")
        raise bookings.UnableToBook.at("day", said % {"days": front.days_ahead})


def check_asked(front: Front, asked: Asked, now: datetime) -> None:
    """Refuse what no booking from home may be.

    Raises:
        UnableToBook: with the fields.
    """
    check_time(front, asked.starts_at, now)
    if not asked.contact.email:
        raise bookings.UnableToBook.at("contact_email", _("Enter your email, so that we can write to you."))
    if not 1 <= len(asked.riders) <= MOST_FROM_HOME:
        said = _("From home we take one to %(most)s riders. With more, call %(phone)s.")
        raise bookings.UnableToBook.at("riders", said % {"most": MOST_FROM_HOME, "phone": front.phone})
    today = front.station.local(now).date()
    for number, facts in enumerate(asked.riders):
        try:
            people.check_facts(facts, today=today)
        except people.UnableToKeepRider as refused:
            fields = {f"riders.{number}.{name}": said for name, said in refused.fields.items()}
            raise bookings.UnableToBook(refused.sentence, fields=fields) from refused
        if Rider(born_on=facts.born_on).is_minor_on(today):
            for name in ("guardian_name", "guardian_phone"):
                if not getattr(facts, name).strip():
                    said = _("Needed for a rider under 18.")
                    raise bookings.UnableToBook.at(f"riders.{number}.{name}", said)


def done_before(asked: Asked) -> Guest | None:
    """Return the party that the same form brought before.

    Raises:
        UnableToRepeat: it had other values.
    """
    done = Guest.objects.with_booking().filter(once=asked.once).first()
    if done is not None and done.fingerprint != asked.fingerprint():
        raise UnableToRepeat(_("This form was already sent with other values. Reload the page, please."))
    return done


@inside_write
def _welcome(
    actor: Actor, front: Front, asked: Asked, state: GuestState, now: datetime
) -> tuple[Guest, list[Rider]]:
    """Keep party, riders, signatures and the guest that joins them."""
    booking, riders = bookings.keep_party(
        actor=actor,
        station=front.station,
        contact=asked.contact,
        kind=Booking.Kind.RENTAL,
        riders=asked.riders,
        note=asked.note,
        now=now,
    )
    guest = join(booking, riders, asked, state, now)
    sign(front=front, riders=riders, contact_name=asked.contact.name, language=asked.language, now=now)
    return guest, riders


@inside_write
def join(booking: Booking, riders: Sequence[Rider], asked: Asked, state: GuestState, now: datetime) -> Guest:
    """Keep the guest that joins a booking from home with its letters and links."""
    guest = Guest.objects.create(
        booking=booking,
        state=state,
        from_home=True,
        language=asked.language,
        once=asked.once,
        fingerprint=asked.fingerprint(),
        joined_at=now,
        starts_at=asked.starts_at,
        ends_at=asked.ends_at,
    )
    guest.riders.set(riders)
    return guest
