"""The periodic look at who must be told what, and at who comes next on the waiting list."""

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from typing import Final

from rentals.bookings import services as bookings
from rentals.bookings.models import LONGEST_OUTING, Booking, Outing
from rentals.bookings.states import DROPPED, OutingState
from rentals.dayplan.queries import Wish
from rentals.home import queries
from rentals.home.models import Front, Guest, GuestQuerySet
from rentals.home.services import telling
from rentals.home.services.booking import DayMoved, locked
from rentals.home.services.changing import call_all_off, move_guest
from rentals.home.states import GuestEvent, GuestState
from rentals.lessons.models import Notice, Seat
from rentals.lib.access import Actor, System
from rentals.lib.problems import Refused
from rentals.lib.writes import inside_write, savepoint, write
from rentals.mail.models import Letter

REMIND_BEFORE: Final = timedelta(hours=24)
NOT_JUST_BOOKED: Final = timedelta(hours=6)
"""Who booked so lately needs no reminder. Policy."""

THANK_AFTER: Final = timedelta(hours=2)
THANK_WITHIN: Final = timedelta(days=2)
LOOK_AHEAD: Final = timedelta(days=60)
WIND_AHEAD: Final = timedelta(hours=36)
WIND_MOVED_MS: Final = 2.5
"""About five knots, a sail size; forecasts scatter by less. Policy; common practice, no source."""

WELCOME_WITHIN: Final = timedelta(hours=12)
TELL_WITHIN: Final = timedelta(days=2)
BATCH: Final = 200


@write
def welcome_desk(*, actor: Actor, now: datetime) -> int:
    """Take in parties that the desk booked with an address, and confirm to them; say how many."""
    actor.require_system(System.TELL)
    fronts = {front.station_id: front for front in Front.objects.select_related("station")}
    fresh = (
        Booking.objects.filter(party__station__in=fronts, booked_at__gt=now - WELCOME_WITHIN)
        .exclude(party__contact_email="")
        .exclude(pk__in=Guest.objects.values("booking"))
        .select_related("party__station")
        .order_by("id")[:BATCH]
    )
    met = 0
    for booking in fresh:
        outings = list(
            Outing.objects.filter(booking=booking).exclude(state__in=DROPPED).order_by("starts_at")
        )
        if not outings or outings[0].starts_at <= now:
            continue
        front = fronts[booking.party.station_id]
        span = outings[0].starts_at, outings[0].ends_at
        guest = _meet(booking, front, {outing.rider_id for outing in outings}, span, now)
        telling.confirm(guest=guest, front=front, now=now)
        met += 1
    return met


@inside_write
def _meet(
    booking: Booking, front: Front, riders: Iterable[int], span: tuple[datetime, datetime], now: datetime
) -> Guest:
    """Take in a party that the desk booked."""
    guest = Guest.objects.create(
        booking=booking,
        state=GuestState.BOOKED,
        from_home=False,
        language=front.language,
        joined_at=now,
        starts_at=span[0],
        ends_at=span[1],
    )
    guest.riders.set(riders)
    return guest


@write
def tell_lessons(*, actor: Actor, now: datetime) -> int:
    """Write to parties whose lesson moved or is called off, once for each change; say how many."""
    actor.require_system(System.TELL)
    notices = _to_write(now)
    if not notices:
        return 0
    fronts = {front.station_id: front for front in Front.objects.select_related("station")}
    for notice in notices:
        seats = Seat.objects.filter(lesson=notice.lesson, outing__booking__party=notice.party)
        seat = seats.select_related("outing__booking__party__station").order_by("-live", "-id")[0]
        booking, front = seat.outing.booking, fronts.get(notice.lesson.course.station_id)
        if front is None:
            telling.lesson_changed_without_page(notice=notice, booking_id=booking.pk, now=now)
        else:
            _tell_lesson(notice, booking, front, now)
    return len(notices)


@inside_write
def _tell_lesson(notice: Notice, booking: Booking, front: Front, now: datetime) -> None:
    span = notice.lesson.starts_at, notice.lesson.ends_at
    guest = Guest.objects.with_booking().filter(booking=booking).first()
    if guest is None:
        riders = Outing.objects.filter(booking=booking).values_list("rider_id", flat=True)
        guest = _meet(booking, front, set(riders), span, now)
    telling.lesson_changed(notice=notice, guest=guest, front=front, now=now)
    outings = queries.outings_of(guest)
    if outings:
        Guest.objects.filter(pk=guest.pk).update(starts_at=outings[0].starts_at, ends_at=outings[0].ends_at)
    elif guest.state == GuestState.BOOKED:
        move_guest(guest, GuestEvent.LEAVE)


def _to_write(now: datetime) -> list[Notice]:
    """Notices of lessons that nobody was written yet: two queries."""
    notices = list(
        Notice.objects.to_write(now - TELL_WITHIN).select_related("lesson__course__station", "party")[:BATCH]
    )
    events = [telling.event_of(notice) for notice in notices]
    written = set(Letter.objects.filter(event__in=events).values_list("event", flat=True))
    return [notice for notice in notices if telling.event_of(notice) not in written]


@write
def tell_changes(*, actor: Actor, now: datetime) -> int:
    """Write to parties whose times are others than they were last told, whoever moved them."""
    actor.require_system(System.TELL)
    coming = _coming(Guest.objects.filter(starts_at__gt=now - timedelta(days=1)), now)
    # Looked at last: whoever reads a lesson's new time has its notice too, and is written to by that.
    noticed = {notice.party_id for notice in _to_write(now)}
    count = 0
    for guest, front, outings in coming:
        if telling.times_of(outings) == guest.told or guest.booking.party_id in noticed:
            continue
        if outings:
            Guest.objects.filter(pk=guest.pk).update(
                starts_at=outings[0].starts_at, ends_at=outings[0].ends_at
            )
            telling.changed(guest=guest, front=front, now=now)
        else:
            move_guest(guest, GuestEvent.LEAVE)
            telling.cancelled(guest=guest, front=front, now=now)
        count += 1
    return count


@write
def tell_wind(*, actor: Actor, now: datetime) -> int:
    """Write to parties whose forecast is another than when they were last written to."""
    actor.require_system(System.TELL)
    soon = Guest.objects.filter(starts_at__gt=now, starts_at__lte=now + WIND_AHEAD)
    count = 0
    for guest, front, outings in _coming(soon, now):
        mean_ms = telling.beach_wind_ms(guest, outings, now)
        if mean_ms is None or not outings:
            continue
        if guest.told_wind_ms is None:
            Guest.objects.filter(pk=guest.pk).update(told_wind_ms=mean_ms)
        elif abs(mean_ms - guest.told_wind_ms) >= WIND_MOVED_MS:
            telling.wind_moved(guest=guest, front=front, now=now)
            count += 1
    return count


@write
def remind(*, actor: Actor, now: datetime) -> int:
    """Write to parties that come within a day, once each."""
    actor.require_system(System.TELL)
    soon = Guest.objects.filter(
        starts_at__gt=now, starts_at__lte=now + REMIND_BEFORE, joined_at__lte=now - NOT_JUST_BOOKED
    ).exclude(booking__in=_written(telling.Kind.REMINDER, now))
    return _each(_coming(soon, now), telling.remind, now)


@write
def thank(*, actor: Actor, now: datetime) -> int:
    """Write to parties all of whom are back, once each."""
    actor.require_system(System.TELL)
    # A course is over long after its first lesson, which is all that the guest's own times tell.
    back = Outing.objects.filter(
        starts_at__gt=now - THANK_WITHIN - LONGEST_OUTING, closed_at__gt=now - THANK_WITHIN
    )
    over = Guest.objects.filter(ends_at__lte=now, booking__in=back.values("booking")).exclude(
        booking__in=_written(telling.Kind.THANKS, now)
    )
    done = [
        (guest, front, outings)
        for guest, front, outings in _coming(over, now)
        if outings
        and all(
            outing.state == OutingState.CLOSED and outing.closed_at and outing.closed_at <= now - THANK_AFTER
            for outing in outings
        )
        and any(outing.launched_at for outing in outings)
    ]
    return _each(done, telling.thank, now)


@write
def pass_over(*, actor: Actor, now: datetime) -> int:
    """End offers whose time is up, and waiting whose time has come; the place goes to the next."""
    actor.require_system(System.TELL)
    late = Guest.objects.with_booking().filter(state=GuestState.OFFERED, offer_until__lte=now)
    missed = Guest.objects.with_booking().filter(state=GuestState.WAITING, starts_at__lte=now)
    fronts = {front.station_id: front for front in Front.objects.select_related("station")}
    count = 0
    for guest in [*late[:BATCH], *missed[:BATCH]]:
        call_all_off(actor=actor, act=System.TELL, guest=guest, reason="the offer ran out", now=now)
        move_guest(guest, GuestEvent.LAPSE, offer_until=None)
        telling.lapsed(guest=guest, front=fronts[guest.booking.party.station_id], now=now)
        count += 1
    return count


def offer_places(*, actor: Actor, now: datetime) -> int:
    """Offer places that have come free, in the order in which parties joined; say how many.

    A party is looked at again only when its day has changed since.
    """
    fronts = {
        front.station_id: front for front in Front.objects.filter(is_open=True).select_related("station")
    }
    waiting = Guest.objects.waiting(now).filter(booking__party__station__in=fronts).with_booking()[:BATCH]
    count = 0
    for guest in waiting:
        front = fronts[guest.booking.party.station_id]
        if guest.starts_at - timedelta(minutes=front.lead_min) <= now:
            continue
        mark = queries.mark_of(front.station, guest.starts_at)
        if mark == guest.looked_at_day:
            continue
        wish = Wish(
            kind=guest.booking.kind,
            starts_at=guest.starts_at,
            ends_at=guest.ends_at,
            riders=tuple(guest.riders.order_by("id")),
        )
        seen = queries.see(front.station, wish, phone=front.phone, now=now)
        try:
            count += keep_offer(
                actor=actor, guest_id=guest.pk, front_id=front.pk, mark=mark, holds=seen.holds, now=now
            )
        except (DayMoved, Refused):
            continue
    return count


@write
def keep_offer(*, actor: Actor, guest_id: int, front_id: int, mark: str, holds: bool, now: datetime) -> bool:
    """Hold a place for a waiting party for the station's set time, or note that there is none; say which.

    Raises:
        DayMoved: the day is not the one that was looked at.
        UnableToMoveGuest: the party does not wait any more.
    """
    actor.require_system(System.TELL)
    front = locked(front_id)
    guest = Guest.objects.with_booking().select_for_update(of=("self",)).get(pk=guest_id)
    if not holds:
        Guest.objects.filter(pk=guest.pk).update(looked_at_day=mark)
        return False
    if queries.mark_of(front.station, guest.starts_at) != mark:
        raise DayMoved
    until = min(now + timedelta(minutes=front.offer_min), guest.starts_at)
    move_guest(guest, GuestEvent.OFFER, offer_until=until, looked_at_day=mark)
    try:
        with savepoint():
            bookings.promise_outings(
                actor=actor,
                act=System.TELL,
                booking=guest.booking,
                riders=list(guest.riders.order_by("id")),
                spans=[(guest.starts_at, guest.ends_at)],
                now=now,
            )
    except bookings.RiderAlreadyOut:
        move_guest(guest, GuestEvent.LAPSE, offer_until=None)
        telling.lapsed(guest=guest, front=front, now=now)
        return False
    telling.offered(guest=guest, front=front, now=now)
    return True


Coming = tuple[Guest, Front, list[Outing]]


def _coming(guests: GuestQuerySet, now: datetime) -> list[Coming]:
    """Booked parties with their station's page and outings: three queries."""
    fronts = {front.station_id: front for front in Front.objects.select_related("station")}
    found = list(
        guests.with_booking()
        .filter(
            state=GuestState.BOOKED,
            starts_at__lt=now + LOOK_AHEAD,
            booking__party__station__in=fronts,
        )
        .order_by("starts_at", "id")[:BATCH]
    )
    outings: dict[int, list[Outing]] = {guest.booking_id: [] for guest in found}
    for outing in (
        Outing.objects.filter(booking__in=outings)
        .exclude(state__in=DROPPED)
        .select_related("station", "rider")
        .order_by("starts_at", "id")
    ):
        outings[outing.booking_id].append(outing)
    return [(guest, fronts[guest.booking.party.station_id], outings[guest.booking_id]) for guest in found]


def _written(kind: telling.Kind, now: datetime) -> list[int]:
    """Bookings that have that letter already."""
    recent = Letter.objects.filter(event__startswith="booking:", event__endswith=f":{kind}")
    late = recent.filter(written_at__gt=now - timedelta(days=4)).values_list("about", flat=True)
    return [int(about.rpartition(":")[2]) for about in late]


def _each(coming: Iterable[Coming], tell: Callable[..., None], now: datetime) -> int:
    count = 0
    for guest, front, _outings in coming:
        tell(guest=guest, front=front, now=now)
        count += 1
    return count
