"""How long the demo takes from the command to its first page, first with loading, then again.

Run: `uv run --all-groups python -m tests.benchmarks.bench_start`

The limit is five seconds for the second start, on this kind of machine with nothing else running.
"""

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.journeys.house import demo

LIMIT_S = 5.0
AGAIN = 3


def main() -> int:
    """Print the times; 1 when the best second start is over the limit."""
    with TemporaryDirectory(prefix="marram-start-") as folder:
        times = []
        for _start in range(1 + AGAIN):
            with demo(Path(folder)) as house:
                times.append(house.first_page_s)
    first, *again = times
    sys.stdout.write(
        f"first start, loading a season  {first:6.1f} s\n"
        f"second start, median of {AGAIN}     {sorted(again)[AGAIN // 2]:6.1f} s, limit {LIMIT_S:g} s, "
        f"ratio {sorted(again)[AGAIN // 2] / LIMIT_S:.2f}\n"
    )
    return int(min(again) > LIMIT_S)


if __name__ == "__main__":
    raise SystemExit(main())
