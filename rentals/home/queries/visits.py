"""A party's own page behind its secret link, and the station's page that it leads to."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from django.utils.functional import Promise as Words
from django.utils.translation import gettext as _

from rentals.bookings.models import Booking, Outing
from rentals.bookings.states import DROPPED
from rentals.home.mapping import LEVELS
from rentals.home.models import Front, Guest, Link
from rentals.home.states import IN_THE_DAY, GuestState
from rentals.lessons.models import Seat
from rentals.lib.money import Money
from rentals.lib.problems import NotVisible
from rentals.lib.secret import digest
from rentals.people.models import Rider
from rentals.takings import queries as takings
from rentals.takings.queries import CancelCost, UnableToQuote

RENTAL: Final = Booking.Kind.RENTAL.value
LESSON: Final = Booking.Kind.LESSON.value


def open_front(slug: str) -> Front:
    """Return the open page of a station: one query.

    Raises:
        NotVisible: there is none, or it is closed.
    """
    front = Front.objects.select_related("station").filter(station__slug=slug, is_open=True).first()
    if front is None:
        raise NotVisible(_("There is no page for bookings here."))
    return front


def front_behind(slug: str) -> Front:
    """Return the page of a station that a link leads to, which need not be open any more: one query.

    Raises:
        NotVisible: the station never had one.
    """
    front = Front.objects.select_related("station").filter(station__slug=slug).first()
    if front is None:
        raise NotVisible(_("There is no page for bookings here."))
    return front


def guest_by_token(front: Front, token: str) -> Guest:
    """Return the party that a secret link opens: one query.

    Raises:
        NotVisible: no such link, or it was withdrawn. Both look the same.
    """
    link = (
        Link.objects.filter(
            digest=digest(token), revoked_at=None, guest__booking__party__station=front.station
        )
        .select_related("guest__booking__party__station")
        .first()
    )
    if link is None:
        raise NotVisible(_("This link opens nothing. Check that you copied all of it, or call us."))
    return link.guest


def outings_of(guest: Guest) -> list[Outing]:
    """Return a party's outings that are not called off, by time: one query."""
    found = Outing.objects.filter(booking=guest.booking_id).exclude(state__in=DROPPED)
    return list(found.select_related("station", "rider", "booking__party").order_by("starts_at", "id"))


def rider_of(guest: Guest, rider_id: int) -> Rider:
    """Return a rider of a party: one query.

    Raises:
        NotVisible: there is none in it.
    """
    rider = guest.riders.filter(pk=rider_id).first()
    if rider is None:
        raise NotVisible(_("There is no such rider in this booking."))
    return rider


def before_the_day(front: Front, guest: Guest, *, now: datetime) -> bool:
    """Say whether the day of a party has not begun yet at the station."""
    local = front.station.local
    return local(now).date() < local(guest.starts_at).date()


@dataclass(frozen=True, slots=True)
class RiderAtHome:
    """A rider as the party's own page shows them."""

    rider: Rider
    minor: bool
    lacks: tuple[str, ...]

    @property
    def can_do(self) -> Words:
        """Their level, in their words."""
        return LEVELS[self.rider.level]


@dataclass(frozen=True, slots=True)
class Time:
    """A time of a party: a rental's whole time, or one lesson. `uid` names it in calendars for good."""

    uid: str
    starts_at: datetime
    ends_at: datetime
    name: str = ""
    stands: bool = True
    whole_course: bool = False


@dataclass(frozen=True, slots=True)
class Visit:
    """A party's own page.

    `all_times` holds what was called off too, `times` only where nothing stands. `may_tell` is whether what
    was told of riders can be changed here.
    """

    guest: Guest
    starts_at: datetime
    ends_at: datetime
    riders: tuple[RiderAtHome, ...]
    all_times: tuple[Time, ...]
    may_change: bool
    may_tell: bool
    change_until: datetime

    @property
    def times(self) -> tuple[Time, ...]:
        """When the party is expected, or was."""
        return tuple(time for time in self.all_times if time.stands) or self.all_times

    @property
    def stands(self) -> bool:
        """Whether the party is expected at all."""
        return any(time.stands for time in self.all_times)

    @property
    def may_move(self) -> bool:
        """Whether another time can be chosen by link: a course that is taken as a whole has none."""
        return self.may_change and not any(time.whole_course for time in self.times)


def visit(front: Front, guest: Guest, *, now: datetime) -> Visit:
    """Return what a party sees behind its link: two queries, three for lessons."""
    outings = outings_of(guest)
    riders = list(guest.riders.order_by("id")) or [outing.rider for outing in outings]
    starts_at = min((each.starts_at for each in outings), default=guest.starts_at)
    ends_at = max((each.ends_at for each in outings), default=guest.ends_at)
    until = starts_at - timedelta(minutes=front.change_until_min)
    day = front.station.local(starts_at).date()
    rental = Time(f"booking-{guest.booking_id}", starts_at, ends_at)
    return Visit(
        guest=guest,
        starts_at=starts_at,
        ends_at=ends_at,
        riders=tuple(_at_home(rider, day) for rider in riders),
        all_times=lesson_times(guest) or (rental,),
        may_change=guest.state == GuestState.BOOKED and now <= until,
        may_tell=guest.state in IN_THE_DAY and before_the_day(front, guest, now=now),
        change_until=until,
    )


def lesson_times(guest: Guest) -> tuple[Time, ...]:
    """Return the lessons in which a party has or had seats, by time: one query, none for a rental."""
    if guest.booking.kind != LESSON:
        return ()
    seats = Seat.objects.filter(outing__booking=guest.booking_id).select_related("lesson__course", "outing")
    by_lesson: dict[int, list[Seat]] = {}
    for seat in seats.order_by("id"):
        by_lesson.setdefault(seat.lesson_id, []).append(seat)
    times = [
        Time(
            # A seat keeps its row when it moves to another lesson.
            uid=f"seat-{mine[0].pk}",
            starts_at=mine[0].lesson.starts_at,
            ends_at=mine[0].lesson.ends_at,
            name=mine[0].lesson.course.name,
            stands=any(seat.live and seat.outing.state not in DROPPED for seat in mine),
            whole_course=mine[0].lesson.course.sold_whole,
        )
        for mine in by_lesson.values()
    ]
    return tuple(sorted(times, key=lambda time: time.starts_at))


def holds_seats_in(guest: Guest, lesson_id: int) -> bool:
    """Say whether a party has its seats in a lesson already: one query."""
    return Seat.objects.taken().filter(outing__booking=guest.booking_id, lesson=lesson_id).exists()


def to_pay(guest: Guest, *, now: datetime) -> Money | None:
    """Return what a party will have to pay at the desk, None where there is no price: seven queries."""
    party = guest.booking.party
    try:
        account = takings.party_account(party, party.station, now=now)
    except UnableToQuote:
        return None
    return account.to_come + account.balance


def cancel_cost(guest: Guest, *, now: datetime) -> CancelCost | None:
    """Return what cancelling costs a party now, None where there are no prices: ten queries."""
    return takings.cancel_cost(outings_of(guest), now=now)


def _at_home(rider: Rider, day: date) -> RiderAtHome:
    minor = rider.is_minor_on(day)
    lacks = []
    if rider.waiver_signed_at is None:
        lacks.append(_("sign the waiver at the desk"))
    if minor and rider.guardian_consent_at is None:
        lacks.append(_("a guardian's consent at the desk"))
    if not rider.swims:
        lacks.append(_("talk to us about swimming"))
    return RiderAtHome(rider, minor, tuple(lacks))
