"""Published life data, and simulated sheds with known parameters, for the tests of wear."""

import numpy as np

from rigging.wear import Records, records
from tests.rigging.reference import rows


def published(name: str) -> tuple[list[float], list[int]]:
    """Hours and failures of a data set of `fixtures/reference/lives.csv`."""
    row = next(row for row in rows("lives") if row["set"] == name)
    return [float(each) for each in row["hours"].split()], [int(each) for each in row["failed"].split()]


def shed(
    rng: np.random.Generator, count: int, *, shape: float = 2.2, scale_h: float = 300.0, late: bool = False
) -> Records:
    """Records of a simulated shed: watched for different times, some (`late`) only from an age on."""
    lives = scale_h * rng.weibull(shape, count)
    entries = rng.uniform(0, 0.5 * scale_h, count) if late else np.zeros(count)
    ends = entries + rng.uniform(0.1 * scale_h, 1.5 * scale_h, count)
    seen = lives > entries
    hours, failed = np.minimum(lives, ends)[seen], (lives <= ends)[seen]
    return records(hours, failed, entries[seen])
