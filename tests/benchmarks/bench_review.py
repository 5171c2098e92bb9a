"""How long the review and the life of a large shed take: 2,000 items over 5 years; allowed are 2 seconds.

Run: `uv run --all-groups python -m tests.benchmarks.bench_review`

The shed is written in bulk into a database of its own: 40 outings a day in seasons of 180 days, eight items
each, a fault in a hundred uses. Pages are asked as a browser asks them, charts included.
"""

import os
import random
import sys
import tempfile
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from statistics import median
from time import perf_counter, process_time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rentals.bench.models import Job, WearPosting
    from rentals.bookings.models import Outing
    from rentals.fleet.models import Item, ItemModel
    from rentals.stations.models import Station

MOST_S, ROUNDS, MOST_QUERIES = 2.0, 5, 20
ITEMS, YEARS, SEASON_DAYS, A_DAY, PARTS, FAULT_SHARE = 2_000, 5, 180, 40, 8, 0.01
TODAY = date(2027, 11, 1)
SLOT_H, SLOTS = 2, 4


def main() -> int:
    """Print medians; 1 when a page takes longer than allowed, or asks more queries."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {
            "MARRAM_MODE": "test",
            "MARRAM_DATA": folder,
            "DJANGO_SETTINGS_MODULE": "rentals.settings",
        }
        import django

        django.setup()
        from django.core.management import call_command

        call_command("migrate", verbosity=0)
        begin = perf_counter()
        sys.stdout.write(f"{fill()} written in {perf_counter() - begin:.0f} s\n")
        return int(any(list(map(too_slow, pages()))))


def fill() -> str:
    """Write the shed and its years; return in words how much it is."""
    from rentals.bench.models import Job, WearPosting
    from rentals.bookings.models import Outing
    from rentals.desk import demo
    from rentals.fleet.models import Item, ItemModel
    from rentals.lib.access import System, service
    from rentals.people.models import Posting, User
    from rentals.review.services import note_ages
    from rentals.stations.models import Station

    dice = random.Random(7)
    facts = dict(demo.told("stations")[0])
    station = Station.objects.create(**facts)
    user = User.objects.create(username="manager")
    Posting.objects.create(user=user, station=station, role="manager", since=TODAY - timedelta(days=2000))
    models = [ItemModel.objects.create(**each) for each in demo.told("models")]
    items = Item.objects.bulk_create(
        Item(station=station, model=models[number % len(models)], tag=f"I{number}") for number in range(ITEMS)
    )
    outings = Outing.objects.bulk_create(_outings(station), batch_size=500)
    postings, jobs = [], []
    for outing in outings:
        for item in dice.sample(items, PARTS):
            item.water_s += 5400
            postings.append(_posting(item, outing))
            if dice.random() < FAULT_SHARE:
                jobs.append(_job(item, outing))
    WearPosting.objects.bulk_create(postings, batch_size=2000)
    Job.objects.bulk_create(jobs, batch_size=500)
    Item.objects.bulk_update(items, ["water_s"], batch_size=400)
    _set_costs(station, models)
    while note_ages(actor=service(System.NOTE_AGES), now=datetime.combine(TODAY, time(), UTC)):
        pass
    return f"{len(items):,} items, {len(outings):,} outings, {len(postings):,} postings, {len(jobs):,} faults"


def _outings(station: "Station") -> "Iterator[Outing]":
    from rentals.bookings.models import Booking, Outing, Party
    from rentals.people.models import Rider

    party = Party.objects.create(station=station, contact_name="Wren Alder", contact_phone="0700 1")
    booking = Booking.objects.create(party=party, kind="rental", booked_at=datetime(2022, 1, 1, tzinfo=UTC))
    riders = Rider.objects.bulk_create(
        Rider(
            station=station,
            name=f"Rider {number}",
            born_on=date(1990, 1, 1),
            mass_kg=Decimal(72),
            stature_cm=176,
            level="advanced",
            swims=True,
            phone="0700 1",
        )
        for number in range(A_DAY)
    )
    for year in range(YEARS):
        for day in range(SEASON_DAYS):
            on = datetime(TODAY.year - year, 4, 15, 8, tzinfo=UTC) + timedelta(days=day)
            for number, rider in enumerate(riders):
                start = on + timedelta(hours=SLOT_H * (number % SLOTS))
                end = start + timedelta(hours=1.5)
                yield Outing(
                    station=station,
                    booking=booking,
                    rider=rider,
                    starts_at=start,
                    ends_at=end,
                    state="closed",
                    launched_at=start,
                    ashore_at=end,
                    closed_at=end,
                )


def _posting(item: "Item", outing: "Outing") -> "WearPosting":
    from rentals.bench.models import WearPosting

    return WearPosting(
        item=item, outing=outing, water_s=5400, weighted_s=5400, salt=True, posted_at=outing.ends_at
    )


def _job(item: "Item", outing: "Outing") -> "Job":
    from rentals.bench.models import Job

    at = outing.ends_at
    return Job(
        item=item,
        outing=outing,
        fault="Torn",
        state="released",
        opened_at=at,
        work="Mended",
        minutes=20,
        mended_at=at,
        finished_at=at,
    )


def _set_costs(station: "Station", models: "list[ItemModel]") -> None:
    from rentals.review.models import ModelCost

    ModelCost.objects.bulk_create(
        ModelCost(station=station, model=model, new_cost=Decimal(400), fault_cost=Decimal(60))
        for model in models
    )


def pages() -> Iterator[tuple[str, str]]:
    """Yield the pages with their addresses."""
    yield "review of 5 years", f"review/?since={TODAY.year - YEARS + 1}-01&until={TODAY:%Y-%m}"
    yield "a month on paper", f"review/month/?month={TODAY.year}-07"
    yield "life of the kit", "life/"
    yield "life of one model", "life/1/"


def too_slow(page: tuple[str, str]) -> bool:
    """Ask a page a few times, print its median beside what is allowed, and say whether it is over."""
    from django.db import connection
    from django.test import Client
    from django.test.utils import CaptureQueriesContext

    from rentals.people.models import User
    from rentals.stations.models import Station

    name, address = page
    client = Client()
    client.force_login(User.objects.get(), backend="django.contrib.auth.backends.ModelBackend")
    taken, worked = [], []
    for _round in range(ROUNDS):
        begin, began = perf_counter(), process_time()
        with CaptureQueriesContext(connection) as queries:
            response = client.get(f"/{Station.objects.get().slug}/{address}")
        taken.append(perf_counter() - begin)
        worked.append(process_time() - began)
        assert response.status_code == 200, response.status_code
    found = median(taken)
    sys.stdout.write(
        f"{name:20} {found:6.2f} s, ratio to {MOST_S:g} s {found / MOST_S:5.2f}; first {taken[0]:5.2f} s; "
        f"{median(worked):5.2f} s of the processor; "
        f"{len(queries)} queries, {len(response.content) // 1024:,} kB\n"
    )
    return found > MOST_S or len(queries) > MOST_QUERIES


if __name__ == "__main__":
    sys.exit(main())
