"""How long sizing takes: the matrix of 1,000 riders x 200 sails x 10 hours beside numpy's bare exponentials.

Run: `uv run --all-groups python -m tests.benchmarks.bench_sizing`

The bound counts what a cell can't do without when it is computed directly: two normal distributions (under,
over) and one density (expected excess), each at least one exponential, on arrays of that size. The same with
scipy's normal distribution, which a direct form would really call, stands beside it.
"""

import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from statistics import median

import numpy as np
from scipy.special import ndtr

from rigging import sizing, wind

RIDERS, SAILS, HOURS, ROUNDS, ALLOWED = 1000, 200, 10, 21, 5.0
DAY = datetime(2026, 6, 1, 8, tzinfo=UTC)


def problem() -> tuple[list[float], list[sizing.Rider], list[wind.SlotWind]]:
    """Riders, sails and hours from a seeded generator."""
    generator = np.random.default_rng(1)
    levels = list(sizing.Level)
    riders = [
        sizing.Rider(mass_kg=float(generator.uniform(30, 110)), level=levels[at % len(levels)])
        for at in range(RIDERS)
    ]
    hours = [
        wind.Hour(start=DAY + timedelta(hours=at), mean_ms=float(generator.uniform(3, 14)))
        for at in range(HOURS)
    ]
    slots = [wind.slot_wind([hour], hour.start, hour.end) for hour in hours]
    return np.linspace(1.5, 9.0, SAILS).tolist(), riders, slots


def milliseconds(work: Callable[[], object]) -> float:
    """Time of one call; what it returns is kept until the clock has stopped."""
    begin = time.perf_counter()
    kept = work()
    took = 1000 * (time.perf_counter() - begin)
    del kept
    return took


def main() -> int:
    """Print times and ratios; return 1 when the allowed ratio is exceeded."""
    areas, riders, slots = problem()
    z = np.random.default_rng(2).standard_normal((RIDERS, SAILS, HOURS))
    works: dict[str, Callable[[], object]] = {
        "matrix": lambda: sizing.suitability(areas, riders, slots),
        "three exponentials": lambda: (np.exp(z), np.exp(z), np.exp(z)),
        "two normal cdfs and one exponential": lambda: (ndtr(z), ndtr(z), np.exp(z)),
        "the same cell by cell": lambda: sizing.suitability(areas, riders, slots, exact=True),
    }
    rounds = [{name: milliseconds(work) for name, work in works.items()} for _ in range(ROUNDS)]
    for name in works:
        ratio = median(one[name] / one["three exponentials"] for one in rounds)
        sys.stdout.write(f"{name:38s} {median(one[name] for one in rounds):8.1f} ms {ratio:8.2f} x\n")
    ratio = median(one["matrix"] / one["three exponentials"] for one in rounds)
    return 0 if ratio <= ALLOWED else 1


if __name__ == "__main__":
    sys.exit(main())
