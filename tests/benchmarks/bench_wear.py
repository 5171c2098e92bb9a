"""How long a Weibull fit of 10,000 censored records takes; allowed is the survival library's own time.

Run: `uv run --all-groups python -m tests.benchmarks.bench_wear`

Both fit the same records, half of them watched only from an age on, and must agree to four digits. Beside
them the lives of 30 item models with 2,000 records together, as the review page asks for.
"""

import sys
import time
from collections.abc import Callable
from statistics import median

import lifelines
import numpy as np

from rigging.wear import Records, fit_weibull, life_of_groups, records

RECORDS, MODELS, SHED, ROUNDS, SLOW_ROUNDS = 10_000, 30, 2_000, 21, 5


def known(count: int, seed: int) -> Records:
    """Censored and late records of a simulated shed."""
    generator = np.random.default_rng(seed)
    lives = 300 * generator.weibull(2.2, 2 * count)
    entries = generator.uniform(0, 150, 2 * count) * generator.integers(0, 2, 2 * count)
    ends = entries + generator.uniform(30, 450, 2 * count)
    seen = np.flatnonzero(lives > entries)[:count]
    return records(np.minimum(lives, ends)[seen], (lives <= ends)[seen], entries[seen])


def seconds(work: Callable[[], object]) -> float:
    """Time of one call."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def main() -> int:
    """Print medians; 1 when our fit is slower than the library's, or differs from it."""
    shed = known(RECORDS, 1)
    models = {f"model {place}": known(SHED // MODELS, place) for place in range(MODELS)}
    fits = [seconds(lambda: fit_weibull(shed.hours, shed.failed, shed.entry_hours)) for _ in range(ROUNDS)]
    peer = lifelines.WeibullFitter()
    peers = [
        seconds(lambda: peer.fit(shed.hours, shed.failed, entry=shed.entry_hours)) for _ in range(SLOW_ROUNDS)
    ]
    groups = [seconds(lambda: life_of_groups(models)) for _ in range(SLOW_ROUNDS)]
    life = fit_weibull(shed.hours, shed.failed, shed.entry_hours)
    apart = max(abs(life.shape / peer.rho_ - 1), abs(life.scale_h / peer.lambda_ - 1))
    ours, theirs = median(fits), median(peers)
    sys.stdout.write(
        f"Weibull fit of {RECORDS:,} records  {1e3 * ours:8.2f} ms, ratio {ours / theirs:.3f}\n"
        f"survival library, same records  {1e3 * theirs:8.2f} ms, estimates apart {apart:.1e}\n"
        f"lives of {MODELS} models together     {1e3 * median(groups):8.2f} ms\n"
    )
    return int(ours > theirs or apart > 1e-4)


if __name__ == "__main__":
    sys.exit(main())
