"""Seats in lessons, taken and changed from home."""

from datetime import datetime

from django.utils.translation import gettext as _

from rentals.home import queries
from rentals.home.models import Front, Guest
from rentals.home.services import telling
from rentals.home.services.booking import Asked, check_asked, check_time, done_before, join, locked
from rentals.home.services.changing import UnableToMoveGuest, found, refuse_late
from rentals.home.services.signing import sign
from rentals.home.states import GuestState
from rentals.lessons import queries as taught
from rentals.lessons import services as lessons
from rentals.lib.access import Actor, System
from rentals.lib.writes import write


@write
def book_lesson(*, actor: Actor, front_id: int, lesson_id: int, asked: Asked, now: datetime) -> Guest:
    """Give a party at home seats in a lesson, or in the whole course; the same form again takes them once.

    The database keeps each seat for one student, so that nothing is looked at before the write.

    Raises:
        NotVisible: no such lesson to come at that station.
        LessonFull: fewer seats are left than riders.
        UnableToEnrol: not a lesson for one of them.
        UnableToBook: a fact that cannot be, with its field.
        UnableToRepeat: the form was sent before with other values.
    """
    actor.require_system(System.HOME)
    front = locked(front_id)
    done = done_before(asked)
    if done is not None:
        return done
    taught.lesson_on_offer(front.station, lesson_id, now=now)
    check_asked(front, asked, now)
    booking, seats = lessons.take_seats(
        actor=actor,
        act=System.HOME,
        lesson_id=lesson_id,
        contact=asked.contact,
        riders=asked.riders,
        note=asked.note,
        now=now,
    )
    riders = [seat.outing.rider for seat in seats[: len(asked.riders)]]
    guest = join(booking, riders, asked, GuestState.BOOKED, now)
    sign(front=front, riders=riders, contact_name=asked.contact.name, language=asked.language, now=now)
    telling.confirm(guest=guest, front=front, now=now)
    return guest


@write
def change_lesson(*, actor: Actor, guest_id: int, lesson_id: int, now: datetime) -> Guest:
    """Give a booked party seats in another lesson instead, all or none; in its own it changes nothing.

    Raises:
        TooLate: the station's rule.
        UnableToMoveGuest: it is not booked any more.
        NotVisible, LessonFull, UnableToEnrol: the other lesson cannot take them; they keep what they have.
        UnableToBook: the other lesson is too soon or too far ahead to be booked from home.
        RiderAlreadyOut: one of them has something else then.
    """
    actor.require_system(System.HOME)
    guest = found(guest_id)
    front = Front.objects.select_related("station").get(station=guest.booking.party.station)
    if guest.state != GuestState.BOOKED:
        raise UnableToMoveGuest(_("This booking is not in force any more. Book anew, please."))
    refuse_late(front, guest, now)
    if queries.holds_seats_in(guest, lesson_id):
        return guest
    check_time(front, taught.lesson_on_offer(front.station, lesson_id, now=now).starts_at, now)
    seats = lessons.change_seats(
        actor=actor, act=System.HOME, booking=guest.booking, lesson_id=lesson_id, now=now
    )
    lesson = seats[0].lesson
    guest.starts_at, guest.ends_at = lesson.starts_at, lesson.ends_at
    Guest.objects.filter(pk=guest.pk).update(starts_at=lesson.starts_at, ends_at=lesson.ends_at)
    telling.changed(guest=guest, front=front, now=now)
    return guest
