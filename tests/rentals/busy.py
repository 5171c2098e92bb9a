"""A day with many outings: a third afloat, a third closed, a third to come, as in the middle of a day."""

from datetime import datetime, timedelta

from rentals.afloat.models import LaunchCheck
from rentals.bookings.models import Booking, Outing, Party
from tests.cast import Cast

HOURS = {"afloat": -1, "closed": -3, "booked": 1}
"""When each third begins, from now."""


def fill(cast: Cast, size: int, name: str = "Rider") -> None:
    """Put so many outings into the day."""
    cast.blow()
    party = Party.objects.create(station=cast.tarrow, contact_name="Sedge", contact_phone="0700")
    booking = Booking.objects.create(party=party, kind="rental", booked_at=cast.now)
    for number in range(size):
        state = list(HOURS)[number % len(HOURS)]
        start: datetime = cast.now + timedelta(hours=HOURS[state])
        rider = cast.rider(f"{name} {number}")
        outing = Outing(station=cast.tarrow, booking=booking, rider=rider, starts_at=start)
        outing.ends_at = start + timedelta(hours=2)
        if state == "closed":
            outing.state, outing.launched_at, outing.ashore_at, outing.closed_at = state, start, start, start
        outing.save()
        if state == "afloat":
            _let_go(cast, outing)


def _let_go(cast: Cast, outing: Outing) -> None:
    """Through the states that the database insists on, with the check that it asks for."""
    LaunchCheck.objects.create(
        outing=outing, kit_no=0, at=cast.now, by=cast.instructor, points=[], gates=[], passed=True
    )
    row = Outing.objects.filter(pk=outing.pk)
    row.update(state="kitted")
    row.update(state="cleared")
    row.update(state="afloat", launched_at=outing.starts_at)
