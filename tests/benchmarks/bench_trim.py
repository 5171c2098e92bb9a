"""How long a settings sheet takes; allowed are 200 microseconds.

Run: `uv run --all-groups python -m tests.benchmarks.bench_trim`
"""

import sys
import time
from collections.abc import Callable

from rigging import kit, sizing, trim

ROUNDS, SHEETS, ALLOWED_US = 21, 200, 200.0

SAIL = kit.Sail(
    name="Glasswort 5.4",
    area_m2=5.4,
    luff_cm=453,
    boom_cm=188,
    diameters=frozenset({kit.Diameter.RDM}),
    imcs=21,
    clew_height_cm=105,
    cutout_low_cm=112,
    cutout_high_cm=156,
)
MAST = kit.Mast(name="Reed 430", length_cm=430, diameter=kit.Diameter.RDM, imcs=21)
BOOM = kit.Boom(name="Rush", min_cm=160, max_cm=220, clamps=frozenset({kit.Diameter.RDM}))
EXTENSION = kit.Extension(name="Sedge", diameter=kit.Diameter.RDM, min_cm=0, max_cm=36)
BASE = kit.Base(name="Tussock")
RIDER = sizing.Rider(mass_kg=75, stature_m=1.75, level=sizing.Level.ADVANCED)
WINDOW = sizing.wind_window(SAIL.area_m2, RIDER.mass_kg, RIDER.stature_m, RIDER.level)


def microseconds(work: Callable[[], object]) -> float:
    """Mean time of one call over `SHEETS` calls."""
    begin = time.perf_counter()
    for _ in range(SHEETS):
        work()
    return 1e6 * (time.perf_counter() - begin) / SHEETS


def main() -> int:
    """Print best times, least disturbed by other work; return 1 when a sheet takes longer than allowed."""
    works: dict[str, Callable[[], object]] = {
        "sheet, window computed": lambda: trim.settings(SAIL, MAST, BOOM, EXTENSION, BASE, RIDER, 10.0),
        "sheet, window known": lambda: trim.settings(SAIL, MAST, BOOM, EXTENSION, BASE, RIDER, 10.0, WINDOW),
    }
    took = {name: min(microseconds(work) for _ in range(ROUNDS)) for name, work in works.items()}
    for name, time_us in took.items():
        sys.stdout.write(f"{name:30s} {time_us:8.1f} us\n")
    return 0 if max(took.values()) <= ALLOWED_US else 1


if __name__ == "__main__":
    sys.exit(main())
