"""A station's past, written around the services: outings, the wear they left, faults at an age."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from rentals.bench.models import Job, WearPosting
from rentals.bookings.models import Booking, Outing, Party
from rentals.fleet.models import Item
from tests.rentals.walk import HOUR, Walk


def sailed(cast: Walk, items: Sequence[Item], *, at: datetime, hours: float = 1.0) -> Outing:
    """An outing that is over, with the wear it left on items."""
    party = Party.objects.create(station=cast.tarrow, contact_name="Wren", contact_phone="0700 1")
    booking = Booking.objects.create(party=party, kind="rental", booked_at=at)
    end = at + timedelta(hours=hours)
    outing = Outing.objects.create(
        station=cast.tarrow,
        booking=booking,
        rider=cast.rider("Bram Sallow"),
        starts_at=at,
        ends_at=end,
        state="closed",
        launched_at=at,
        ashore_at=end,
        closed_at=end,
    )
    for item in items:
        seconds = round(3600 * hours)
        WearPosting.objects.create(
            item=item, outing=outing, water_s=seconds, weighted_s=seconds, salt=True, posted_at=end
        )
        item.water_s += seconds
        item.save()
    return outing


def broke(item: Item, *, at: datetime, fault: str = "Torn", minutes: int | None = 20) -> Job:
    """A fault that was found, mended and released."""
    return Job.objects.create(
        item=item,
        fault=fault,
        state="released",
        opened_at=at,
        work="Mended",
        minutes=minutes,
        mended_at=at,
        finished_at=at + HOUR,
    )


def used(cast: Walk, item: Item, *, hours: Sequence[float], faults_after: Sequence[int] = ()) -> None:
    """One outing of so many hours a day up to yesterday; a fault came with those of the numbers given."""
    for number, each in enumerate(hours, start=1):
        at = cast.now - timedelta(days=len(hours) - number + 1)
        sailed(cast, [item], at=at, hours=each)
        if number in faults_after:
            broke(item, at=at + timedelta(hours=each))
