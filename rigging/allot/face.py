"""Whole points among the relaxation's best: its optimal face, searched vertex by vertex.

The relaxation of a large day is often worth as much as the best plan and yet splits riders between sails
that serve them equally well. Points that leave columns with a reduced cost at their bound, and rows with a
price at their limit, are worth the same (complementary slackness): a whole one among them is proven the best.
Random costs lead to vertices that are nearly whole; the feasibility pump takes the last steps (Fischetti,
Glover and Lodi, The feasibility pump, Mathematical Programming 104, 2005, from memory).
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import highspy
import numpy as np

from rigging.allot.linear import Relaxed, loaded, without_fixed
from rigging.allot.model import Floats, Model

AT: Final = 1e-6
"""How near to a bound, and to nought, counts as there. Status: policy; the solver's own tolerance."""

STARTS: Final = 2
"""Random vertices that are started from. Status: calibrated here."""

PUMPS: Final = 2
"""Steps of the pump from each. Status: calibrated here."""

SEED: Final = 1
"""Seed of the random costs: the same day gives the same plan."""


def vertices(model: Model, relaxed: Relaxed, seconds: float) -> Iterator[Floats]:
    """Points worth as much as the relaxation, ever nearer to whole ones.

    Args:
        model: that was relaxed.
        relaxed: its relaxation, run to its end.
        seconds: time limit.
    """
    best = face(model, relaxed)
    small, kept, _ = without_fixed(best)
    for found in _pumped(small, seconds):
        x = best.low.copy()
        x[kept] = found
        yield x


def face(model: Model, relaxed: Relaxed) -> Model:
    """The model's points that are worth as much as the relaxation."""
    low, high, x = model.low.copy(), model.high.copy(), relaxed.x
    bottom = (relaxed.reduced > AT) & (x <= low + AT)
    top = (relaxed.reduced < -AT) & (x >= high - AT)
    high[bottom], low[top] = low[bottom], high[top]
    row_low, row_high, rows = model.row_low.copy(), model.row_high.copy(), model.matrix @ x
    least = (relaxed.prices > AT) & (rows <= row_low + AT)
    most = (relaxed.prices < -AT) & (rows >= row_high - AT)
    row_high[least], row_low[most] = row_low[least], row_high[most]
    return replace(model, low=low, high=high, row_low=row_low, row_high=row_high)


def _pumped(model: Model, seconds: float) -> Iterator[Floats]:
    """Random vertices, and from each those nearest to what it rounds to."""
    rng, size = np.random.default_rng(SEED), len(model.cost)
    highs = loaded(replace(model, cost=np.zeros(size), offset=0.0))
    highs.setOptionValue("time_limit", max(seconds, 0.0))
    for _ in range(STARTS):
        cost = rng.random(size)
        for _ in range(1 + PUMPS):
            highs.changeColsCost(size, np.arange(size, dtype=np.int32), cost)
            highs.run()
            if highs.getModelStatus() != highspy.HighsModelStatus.kOptimal:
                return
            x = np.array(highs.getSolution().col_value)
            yield x
            rounded = np.rint(x)
            cost = np.where(rounded <= model.low, 1.0, np.where(rounded >= model.high, -1.0, 0.0))
