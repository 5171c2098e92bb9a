"""Booking a party that the day can serve, or against that with a reason."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Final
from uuid import UUID

from rentals.audit import services as journal
from rentals.bookings import services as bookings
from rentals.bookings.models import Booking
from rentals.dayplan import queries
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Conflict
from rentals.lib.writes import inside_write, write
from rentals.people.services import RiderFacts
from rentals.stations.models import Station

LONGEST_REASON: Final = 300


class UnableToPromise(Conflict):
    """The shed cannot serve the party; staff may give a reason, a booking from home may not."""

    slug = "not-promised"
    title = "Not everybody would get a rig"


class PromiseIsStale(Conflict):
    """Somebody else booked that day meanwhile: ask again."""

    slug = "promise-stale"
    title = "The day has changed meanwhile"


@write
def book_promised(
    *,
    actor: Actor,
    station_id: int,
    promise: queries.Promise,
    despite: str = "",
    contact: bookings.Contact,
    kind: str,
    starts_at: datetime,
    ends_at: datetime,
    riders: Sequence[RiderFacts | int],
    note: str = "",
    once: UUID | None = None,
    now: datetime,
) -> Booking:
    """Book a party that the day was found to serve, or for a reason one that it was not.

    Args:
        actor, station_id, contact, kind, starts_at, ends_at, riders, note, once, now: as `book_party`.
        promise: what `queries.promise` said of this party, asked before: solving holds no transaction open.
        despite: why it is booked although the promise does not hold.

    Raises:
        UnableToPromise: it does not hold, and no reason is given; fields say who goes short.
        PromiseIsStale: bookings of that day have come or gone since; ask again.
        UnableToBook, RiderAlreadyOut: as `book_party`.
    """
    actor.require(Act.BOOK, station_id=station_id)
    asked = [asdict(contact), kind, starts_at, ends_at, note, despite]
    asked += [each if isinstance(each, int) else asdict(each) for each in riders]
    claim = journal.claim(actor=actor, act=Act.BOOK, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Booking.objects.get(pk=claim.result_id)
    if len(despite.strip()) > LONGEST_REASON:
        raise bookings.UnableToBook.at("despite", f"Enter a reason of at most {LONGEST_REASON} characters.")
    station = Station.objects.get(pk=station_id)
    keep_to(promise=promise, station=station, starts_at=starts_at, despite=despite)
    booking, _ = bookings.promise(
        actor=actor,
        act=Act.BOOK,
        station=station,
        contact=contact,
        kind=kind,
        spans=[(starts_at, ends_at)],
        riders=riders,
        note=note,
        despite="" if promise.holds else despite.strip(),
        now=now,
    )
    journal.settle(claim, booking.pk)
    return booking


@inside_write
def keep_to(*, promise: queries.Promise, station: Station, starts_at: datetime, despite: str = "") -> None:
    """Refuse a booking that its promise does not cover; nobody else can book there until the write is done.

    Raises:
        PromiseIsStale: bookings of that day have come or gone since the promise was looked at.
        UnableToPromise: it does not hold, and no reason is given.
    """
    bookings.one_at_a_time(station)
    if queries.day_stamp(station, station.local(starts_at).date()) != promise.stamp:
        raise PromiseIsStale("Somebody else booked that day meanwhile. Send it again to look anew.")
    if not (promise.holds or despite.strip()):
        short = {each.place: each for outlook in promise.outlooks for each in outlook.short}
        raise UnableToPromise(
            f"{promise.text} Choose another time, or give a reason to book all the same.",
            fields={
                f"riders.{place}": f"{each.reason} {each.remedy}".strip()
                for place, each in sorted(short.items())
            },
        )
