"""Crowds as flows: the rows of one stock's peaks differ only by who comes and who goes between two of them.

Subtracting each peak's row from the next leaves a rider in two rows instead of in all that their span
covers: the same polyhedron with half the entries, and the prices of the rows come back by the transpose.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import sparse

from rigging.allot.model import Floats, Model

ROOM: Final = 1e4
"""Upper bound of the units free at a peak: more than any stock has. Status: policy."""


@dataclass(frozen=True, slots=True)
class Flows:
    """A model's relaxation in flow form: the columns of the model first, then the units free at each peak."""

    matrix: sparse.csc_matrix
    row_low: Floats
    row_high: Floats
    slack: int
    differences: sparse.csr_matrix

    def prices(self, found: Floats) -> Floats:
        """Prices of the model's rows from those of the flow form."""
        return np.asarray(self.differences.T @ found)


def flows(model: Model) -> Flows:
    """The flow form of the model's rows."""
    low, high = model.row_low.copy(), model.row_high.copy()
    before: list[int] = []
    after: list[int] = []
    peaks = [list(crowd.rows.values()) for crowd in model.crowds]
    for rows in peaks:
        before += rows[:-1]
        after += rows[1:]
    free = np.array([row for rows in peaks for row in rows], dtype=int)
    at = {row: n for n, row in enumerate(free.tolist())}
    low[free] = high[free] = model.row_high[free]
    low[after] = high[after] = np.subtract(model.row_high[after], model.row_high[before])
    size = len(low)
    minus = sparse.csr_matrix((-np.ones(len(after)), (after, before)), shape=(size, size))
    differences = sparse.csr_matrix(sparse.identity(size) + minus)
    units = sparse.csr_matrix((np.ones(len(free)), (free, np.arange(len(free)))), shape=(size, len(free)))
    carried = sparse.csr_matrix(
        (-np.ones(len(after)), (after, [at[row] for row in before])), shape=(size, len(free))
    )
    matrix = sparse.csc_matrix(sparse.hstack([differences @ model.matrix, units + carried]))
    matrix.eliminate_zeros()
    return Flows(matrix, low, high, len(free), differences)
