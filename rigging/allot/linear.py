"""Linear and integer programmes through HiGHS, with bounds that are recomputed rather than believed."""

from dataclasses import dataclass
from typing import Final

import highspy
import numpy as np

from rigging.allot.model import Floats, Model

THREADS: Final = 1
"""HiGHS keeps one thread count for the whole process: every call here states the same one."""

LARGEST_COST: Final = 1e4
"""Costs are scaled under this for HiGHS, whose tolerances are absolute. Status: policy."""


@dataclass(frozen=True, slots=True)
class Relaxed:
    """A relaxation: its point, its reduced costs, the value no point goes under; whether it ran to its end."""

    x: Floats
    reduced: Floats
    bound: float
    finished: bool


def relaxed(model: Model, seconds: float) -> Relaxed:
    """Solve the model without wholeness."""
    highs = _loaded(model)
    highs.setOptionValue("time_limit", max(seconds, 0.0))
    highs.run()
    solution = highs.getSolution()
    finished = highs.getModelStatus() == highspy.HighsModelStatus.kOptimal
    x = np.array(solution.col_value) if solution.col_value else model.low
    prices = np.array(solution.row_dual) if solution.row_dual else np.zeros(len(model.row_high))
    reduced, bound = bound_from(model, prices)
    return Relaxed(x, reduced, bound, finished)


def integer(
    model: Model, *, seconds: float, near: float, start: Floats | None = None
) -> tuple[Floats | None, float]:
    """The best whole point found, and the value that none goes under; content when they are `near`.

    `start` is a feasible point to begin from. With no feasible point at all the value is infinite.
    """
    scale = min(1.0, LARGEST_COST / float(np.max(np.abs(model.cost), initial=1.0)))
    highs = _loaded(model, scale=scale, whole=True)
    options = {"time_limit": max(seconds, 0.0), "mip_rel_gap": 0.0, "mip_abs_gap": near * scale}
    for name, value in options.items():
        highs.setOptionValue(name, value)
    if start is not None:
        known = highspy.HighsSolution()
        known.col_value = list(start)
        highs.setSolution(known)
    highs.run()
    if highs.getModelStatus() == highspy.HighsModelStatus.kInfeasible:
        return None, np.inf
    values, info = highs.getSolution().col_value, highs.getInfo()
    found = np.array(values) if values and np.isfinite(info.objective_function_value) else None
    return found, float(info.mip_dual_bound) / scale


def _loaded(model: Model, *, scale: float = 1.0, whole: bool = False) -> highspy.Highs:
    lp = highspy.HighsLp()
    lp.num_row_, lp.num_col_ = model.matrix.shape
    lp.col_cost_, lp.col_lower_, lp.col_upper_ = model.cost * scale, model.low, model.high
    lp.row_lower_, lp.row_upper_ = model.row_low, model.row_high
    lp.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    lp.a_matrix_.start_ = model.matrix.indptr
    lp.a_matrix_.index_ = model.matrix.indices
    lp.a_matrix_.value_ = model.matrix.data
    lp.offset_ = model.offset * scale
    if whole:
        kinds = (highspy.HighsVarType.kContinuous, highspy.HighsVarType.kInteger)
        lp.integrality_ = [kinds[int(w)] for w in model.whole]
    highs = highspy.Highs()  # type: ignore[no-untyped-call]
    for option, value in (("output_flag", False), ("threads", THREADS), ("random_seed", 0)):
        highs.setOptionValue(option, value)
    highs.passModel(lp)
    return highs


def bound_from(model: Model, prices: Floats) -> tuple[Floats, float]:
    """Reduced costs, and the value that no point goes under, from any prices of the rows.

    Weak duality: for every x within bounds and rows, cost @ x >= prices @ rows + reduced @ x, each term at
    its least. It holds for any prices, so it doesn't hang on the solver's tolerances.
    """
    prices = np.where((prices > 0) & np.isneginf(model.row_low), 0.0, prices)
    prices = np.where((prices < 0) & np.isposinf(model.row_high), 0.0, prices)
    reduced = model.cost - model.matrix.T @ prices
    paid, charged = prices != 0, reduced != 0
    rows = np.where(prices > 0, model.row_low, model.row_high)[paid]
    ends = np.where(reduced > 0, model.low, model.high)[charged]
    return reduced, float(prices[paid] @ rows) + float(reduced[charged] @ ends) + model.offset
