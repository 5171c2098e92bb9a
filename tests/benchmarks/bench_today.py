"""Today with 40 and with 400 outings: what the server needs for the page, against twice as long.

MARRAM_MODE=test uv run --all-groups python -m tests.benchmarks.bench_today
"""

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from statistics import median

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "rentals.settings")
django.setup()

from django.test import Client  # noqa: E402
from django.test.runner import DiscoverRunner  # noqa: E402
from django.urls import reverse  # noqa: E402

from rentals.afloat.models import LaunchCheck  # noqa: E402
from rentals.bookings.models import Booking, Outing, Party  # noqa: E402
from rentals.lib import clock  # noqa: E402
from tests.cast import Cast  # noqa: E402

SIZES = (40, 400)
ROUNDS = 15
LIMIT = 2.0
"""The product's promise: the page with 400 outings within twice the page with 40."""


def main() -> None:
    """Print the medians and their ratio."""
    times = {size: _page_ms(size) for size in SIZES}
    for size, spent in times.items():
        print(f"{size} outings: {spent:.0f} ms")  # noqa: T201
    ratio = times[SIZES[1]] / times[SIZES[0]]
    print(f"ratio {ratio:.2f}, limit {LIMIT}: {'kept' if ratio <= LIMIT else 'missed'}")  # noqa: T201


def _page_ms(size: int) -> float:
    with _database():
        now = clock.now().replace(hour=10, minute=0, second=0, microsecond=0)
        clock.now = lambda: now
        cast = Cast(now)
        client = Client()
        client.force_login(cast.desk)
        _fill(cast, size)
        url = reverse("today", args=[cast.tarrow.slug])
        spent = []
        for _round in range(ROUNDS):
            began = time.perf_counter()
            assert client.get(url).status_code == 200
            spent.append(1000 * (time.perf_counter() - began))
        return median(spent)


def _fill(cast: Cast, size: int) -> None:
    """A third afloat, a third closed, a third to come, as at the middle of a day."""
    cast.blow()
    party = Party.objects.create(station=cast.tarrow, contact_name="Sedge", contact_phone="0700")
    booking = Booking.objects.create(party=party, kind="rental", booked_at=cast.now)
    states = ("afloat", "closed", "booked")
    hours = {"afloat": -1, "closed": -3, "booked": 1}
    for number in range(size):
        state = states[number % len(states)]
        start: datetime = cast.now + timedelta(hours=hours[state])
        rider = cast.rider(f"Rider {number}")
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


@contextmanager
def _database() -> Iterator[None]:
    runner = DiscoverRunner(verbosity=0, interactive=False)
    old = runner.setup_databases()
    try:
        yield
    finally:
        runner.teardown_databases(old)


if __name__ == "__main__":
    main()
