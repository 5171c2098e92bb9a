"""How long a drift takes: 10,000 particles over 6 h at 1-minute steps; allowed is half a second.

Run: `uv run --all-groups python -m tests.benchmarks.bench_drift`

Beside it numpy's bare random numbers, one for each particle and minute (the chance to change sides): the
part that no step-by-step drift can do without.
"""

import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from statistics import median

import numpy as np

from rigging.drift import Current, Drift, Drifter, LastKnown, WindStep, drift

PARTICLES, HOURS, ROUNDS, ALLOWED_S = 10_000, 6, 21, 0.5
START = datetime(2026, 7, 4, 12, tzinfo=UTC)
SEEN = LastKnown(latitude_deg=54.1, longitude_deg=-3.2, at=START)
WINDS = [
    WindStep(
        start=START + timedelta(hours=hour), minutes=60, wind10_ms=8 + hour / 2, from_deg=200 + 10 * hour
    )
    for hour in range(HOURS)
]


def cloud() -> Drift:
    """A drift of the size that the target names."""
    return drift(
        Drifter.WINDSURFER,
        SEEN,
        WINDS,
        START + timedelta(hours=HOURS),
        current=Current(speed_ms=0.3, toward_deg=90),
        particles=PARTICLES,
    )


def bare() -> None:
    """As many random numbers as there are particles and minutes."""
    generator = np.random.default_rng(1)
    for _ in range(60 * HOURS):
        generator.random(PARTICLES, dtype=np.float32)


def seconds(work: Callable[[], object]) -> float:
    """Time of one call."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def main() -> int:
    """Print medians of interleaved rounds; 1 when the drift takes longer than allowed."""
    rounds = [(seconds(cloud), seconds(bare)) for _ in range(ROUNDS)]
    ours, floor = (median(column) for column in zip(*rounds, strict=True))
    sys.stdout.write(
        f"drift, {PARTICLES:,} particles in {HOURS} h  {1e3 * ours:7.1f} ms (allowed {1e3 * ALLOWED_S:.0f})\n"
        f"numpy's random numbers alone       {1e3 * floor:7.1f} ms, ratio {ours / floor:.1f}\n"
    )
    return int(ours > ALLOWED_S)


if __name__ == "__main__":
    sys.exit(main())
