"""What a party does by its secret link: move, cancel, take an offered place, within the station's rule."""

from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from rentals.bookings import services as bookings
from rentals.bookings.models import Outing
from rentals.bookings.states import DROPPED, OutingEvent
from rentals.home import queries
from rentals.home.models import Front, Guest
from rentals.home.services import telling
from rentals.home.services.booking import DayMoved, check_time, keep_promised, locked
from rentals.home.states import IN_THE_DAY, MOVES, GuestEvent, GuestState
from rentals.lib.access import Actor, System
from rentals.lib.moves import shift
from rentals.lib.problems import Conflict
from rentals.lib.writes import inside_write, write
from rentals.takings import queries as takings_queries
from rentals.takings import services as takings


class UnableToMoveGuest(Conflict):
    """The booking is not in a state from which this can be done."""

    slug = "guest-state"
    title = "The booking has moved on"


class CostsMore(Conflict):
    """Cancelling costs more by now than was said."""

    slug = "costs-more"
    title = "The price of cancelling has changed"


class TooLate(Conflict):
    """The station's rule does not allow changes by link any more."""

    slug = "too-late"
    title = "Too late to change this here"


def move_from_home(
    *, actor: Actor, front: Front, guest: Guest, starts_at: datetime, ends_at: datetime, now: datetime
) -> Guest:
    """Move a booked party to another time at which all of it can be served.

    Raises:
        UnableToBook: a time that cannot be.
        UnableToPromise: the shed cannot serve all of them then; the booking stays as it is.
        TooLate: the station's rule.
        UnableToMoveGuest: it is not booked any more.
    """
    refuse_late(front, guest, now)
    check_time(front, starts_at, now)
    return keep_promised(
        lambda: queries.see_move(front, guest, starts_at, ends_at, now=now),
        lambda mark: keep_move(
            actor=actor,
            guest_id=guest.pk,
            front_id=front.pk,
            span=(starts_at, ends_at),
            mark=mark,
            now=now,
        ),
    )


@write
def keep_move(
    *,
    actor: Actor,
    guest_id: int,
    front_id: int,
    span: tuple[datetime, datetime],
    mark: str,
    now: datetime,
) -> Guest:
    """Keep a move on the day that was looked at; to the time that is booked it changes nothing.

    Raises:
        DayMoved: the day is not the one that was looked at.
    """
    actor.require_system(System.HOME)
    front = locked(front_id)
    guest = found(guest_id)
    refuse_late(front, guest, now)
    if guest.state != GuestState.BOOKED:
        raise UnableToMoveGuest(_("This booking is not in force any more. Book anew, please."))
    if queries.mark_of(front.station, span[0]) != mark:
        raise DayMoved
    outings = _outings(guest)
    if all((outing.starts_at, outing.ends_at) == span for outing in outings):
        return guest
    bookings.retime(
        actor=actor,
        act=System.HOME,
        outings=outings,
        starts_at=span[0],
        ends_at=span[1],
        why="moved from home",
        now=now,
    )
    guest.starts_at, guest.ends_at = span
    Guest.objects.filter(pk=guest.pk).update(starts_at=span[0], ends_at=span[1])
    telling.changed(guest=guest, front=front, now=now)
    return guest


@write
def leave(*, actor: Actor, guest_id: int, told_minor: int | None = None, now: datetime) -> Guest:
    """Cancel a party's booking, or take it off the waiting list; cancelling twice changes nothing.

    A booking costs what the station's rule says, which is charged.

    Args:
        actor: the service itself.
        guest_id: who cancels.
        told_minor: the fee that they were told, in minor units; None when they were told none.
        now: the moment.

    Raises:
        CostsMore: it costs more by now than they were told.
        TooLate: the station's rule.
        UnableToMoveGuest, UnableToMoveOuting: a rider is out already, or it is over.
    """
    actor.require_system(System.HOME)
    guest = found(guest_id)
    if guest.state == GuestState.LEFT:
        return guest
    front = Front.objects.select_related("station").get(station=guest.booking.party.station)
    if guest.state == GuestState.BOOKED:
        refuse_late(front, guest, now)
        _refuse_untold(guest, told_minor, now)
    paid = guest.state == GuestState.BOOKED
    reason = "cancelled from home"
    outings = call_all_off(actor=actor, act=System.HOME, guest=guest, reason=reason, now=now)
    if paid:
        takings.settle_called_off(actor=actor, act=System.HOME, outings=outings, reason=reason, now=now)
    move_guest(guest, GuestEvent.LEAVE)
    telling.cancelled(guest=guest, front=front, now=now)
    return guest


@write
def take_offer(*, actor: Actor, guest_id: int, now: datetime) -> Guest:
    """Take the place that was offered; taking it twice changes nothing.

    Raises:
        UnableToMoveGuest: the offer is over.
    """
    actor.require_system(System.HOME)
    guest = found(guest_id)
    if guest.state == GuestState.BOOKED:
        return guest
    if guest.state != GuestState.OFFERED or guest.offer_until is None or guest.offer_until <= now:
        raise UnableToMoveGuest(_("The offer is over; the place went to the next on the list."))
    move_guest(guest, GuestEvent.TAKE, offer_until=None)
    front = Front.objects.select_related("station").get(station=guest.booking.party.station)
    telling.confirm(guest=guest, front=front, now=now)
    return guest


@inside_write
def call_all_off(*, actor: Actor, act: System, guest: Guest, reason: str, now: datetime) -> list[Outing]:
    """Call every outing of a party off that is not over; return them."""
    outings = _outings(guest)
    for outing in outings:
        bookings.call_off(
            actor=actor, act=act, outing=outing, event=OutingEvent.CANCEL, reason=reason, now=now
        )
    return outings


@inside_write
def move_guest(guest: Guest, event: GuestEvent, **values: object) -> None:
    """Move a party by an event, unless it was moved meanwhile.

    Raises:
        UnableToMoveGuest: the table has no such move, or somebody was quicker.
    """
    target = MOVES.get((GuestState(guest.state), event))
    if target is None or not shift(guest, target, **values):
        raise UnableToMoveGuest(_("This booking has changed meanwhile. Reload the page, please."))


def _refuse_untold(guest: Guest, told_minor: int | None, now: datetime) -> None:
    """Refuse a fee that is more than the party was told."""
    cost = takings_queries.cancel_cost(_outings(guest), now=now) if told_minor is not None else None
    if cost is not None and told_minor is not None and cost.fee.minor > told_minor:
        said = _("Cancelling costs %(amount)s by now. Go back and cancel once more if you agree.")
        raise CostsMore(said % {"amount": cost.fee})


def refuse_late(front: Front, guest: Guest, now: datetime) -> None:
    """Refuse what comes later than the station's rule allows.

    Raises:
        TooLate: with whom to call.
    """
    if not may_change(front, guest, now):
        said = _("It is too late to change this here. Please call %(phone)s.")
        raise TooLate(said % {"phone": front.phone})


def may_change(front: Front, guest: Guest, now: datetime) -> bool:
    """Say whether the station's rule still allows a change by link."""
    first = min((outing.starts_at for outing in _outings(guest)), default=guest.starts_at)
    return now <= first - timedelta(minutes=front.change_until_min)


def found(guest_id: int) -> Guest:
    """Return a party, locked for a write where the database can."""
    return Guest.objects.with_booking().select_for_update(of=("self",)).get(pk=guest_id)


def _outings(guest: Guest) -> list[Outing]:
    if guest.state not in IN_THE_DAY:
        return []
    found = Outing.objects.filter(booking=guest.booking_id).exclude(state__in=DROPPED)
    return list(found.select_related("station", "rider", "booking__party").order_by("id"))
