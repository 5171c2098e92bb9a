"""Today, Afloat and Rig-up with 40 and with 400 outings: what the server reckons, against twice as long.

MARRAM_MODE=test uv run --all-groups python -m tests.benchmarks.bench_today
"""

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from statistics import median

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "rentals.settings")
django.setup()

from django.test import Client  # noqa: E402
from django.test.runner import DiscoverRunner  # noqa: E402
from django.urls import reverse  # noqa: E402

from rentals.lib import clock  # noqa: E402
from tests.cast import Cast  # noqa: E402
from tests.rentals.busy import fill  # noqa: E402

PAGES = ("today", "afloat", "rig-up")
SIZES = (40, 400)
ROUNDS = 15
LIMIT = 2.0
"""The product's promise: the page with 400 outings within twice the page with 40."""


def main() -> None:
    """Print the medians of processor time and their ratios."""
    times = {size: _pages_ms(size) for size in SIZES}
    few, many = SIZES
    for page in PAGES:
        ratio = times[many][page] / times[few][page]
        said = "kept" if ratio <= LIMIT else "missed"
        print(  # noqa: T201
            f"{page}: {times[few][page]:.0f} ms with {few}, {times[many][page]:.0f} ms with {many}: "
            f"ratio {ratio:.2f}, limit {LIMIT}: {said}"
        )


def _pages_ms(size: int) -> dict[str, float]:
    with _database():
        now = clock.now().replace(hour=10, minute=0, second=0, microsecond=0)
        clock.now = lambda: now
        cast = Cast(now)
        client = Client()
        client.force_login(cast.desk)
        fill(cast, size)
        return {page: _page_ms(client, reverse(page, args=[cast.tarrow.slug])) for page in PAGES}


def _page_ms(client: Client, url: str) -> float:
    spent = []
    for _round in range(ROUNDS):
        began = time.process_time()
        assert client.get(url).status_code == 200
        spent.append(1000 * (time.process_time() - began))
    return median(spent)


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
