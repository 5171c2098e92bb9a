"""Every page of a station on a day of 40 and of 400 outings: what the server reckons, and what it sends.

MARRAM_MODE=test uv run --all-groups python -m tests.benchmarks.bench_pages [page …]
"""

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from statistics import median

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "rentals.settings")
django.setup()

from django.test import Client  # noqa: E402
from django.test.runner import DiscoverRunner  # noqa: E402
from django.urls import get_resolver, reverse  # noqa: E402

from rentals.lib import clock  # noqa: E402
from tests.benchmarks import busy_day  # noqa: E402
from tests.cast import Cast  # noqa: E402

DAY = datetime(2027, 7, 15, 7, tzinfo=UTC)
SIZES = (40, 400)
ROUNDS = 15
LIMIT = 2.0
"""The product's promise: the page with 400 outings within twice the page with 40."""
HEAVIEST_KB = 200
"""The product's promise of a page; its styles, scripts and icons come on top."""


def main() -> None:
    """Print the medians of processor time, their ratios and the weights."""
    found = {size: _pages(size) for size in SIZES}
    few, many = SIZES
    for page in sorted(found[few], key=lambda page: -found[many][page][0] / found[few][page][0]):
        (before, _), (after, kilobytes) = found[few][page], found[many][page]
        kept = after / before <= LIMIT and kilobytes < HEAVIEST_KB
        print(  # noqa: T201
            f"{page:15} {before:5.0f} ms with {few}, {after:5.0f} ms with {many}: {after / before:4.2f} x "
            f"(limit {LIMIT:g}), {kilobytes:4.0f} kB (limit {HEAVIEST_KB}){'' if kept else ': missed'}"
        )


def names() -> list[str]:
    """Pages whose address names a station and nothing else."""
    resolver = get_resolver()
    found = {name for name in resolver.reverse_dict if isinstance(name, str)}
    return sorted(name for name in found if _is_a_station_s(name))


def _is_a_station_s(name: str) -> bool:
    patterns = get_resolver().reverse_dict.getlist(name)
    return any(args == ["station_slug"] for possibilities, *_ in patterns for _, args in possibilities)


def _pages(size: int) -> dict[str, tuple[float, float]]:
    with _database():
        cast = Cast(DAY)
        clock.now = lambda: cast.now
        busy_day.stock(cast)
        busy_day.pass_by(cast, size)
        client = Client()
        client.force_login(cast.manager)
        urls = {name: reverse(name, args=[cast.tarrow.slug]) for name in sys.argv[1:] or names()}
        shown = {name: url for name, url in urls.items() if _is_page(client, url)}
        return {name: _page(client, url) for name, url in shown.items()}


def _is_page(client: Client, url: str) -> bool:
    answer = client.get(url)
    return answer.status_code == 200 and answer.headers["Content-Type"].startswith("text/html")


def _page(client: Client, url: str) -> tuple[float, float]:
    """Processor time [ms] and weight [kB] of a page."""
    spent = []
    for _round in range(ROUNDS):
        began = time.process_time()
        answer = client.get(url)
        spent.append(1000 * (time.process_time() - began))
    return median(spent), len(answer.content) / 1000


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
