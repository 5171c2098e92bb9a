"""Linear and integer programmes through HiGHS, with bounds that are recomputed rather than believed."""

from dataclasses import dataclass, replace
from typing import Final

import highspy
import numpy as np

from rigging.allot.model import Floats, Model
from rigging.allot.timeline import Ints

THREADS: Final = 1
"""HiGHS keeps one thread count for the whole process: every call here states the same one."""

LARGEST_COST: Final = 1e4
"""Costs are scaled under this for HiGHS, whose tolerances are absolute. Status: policy."""

BELIEVED: Final = 1e-9
"""Relative difference between a point's worth and what HiGHS says of it. Status: policy."""


@dataclass(frozen=True, slots=True)
class Relaxed:
    """A relaxation: its point, the rows' prices, the columns' reduced costs, the value no point goes under.

    `finished` says that it ran to its end; the bound holds in any case.
    """

    x: Floats
    prices: Floats
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
    return Relaxed(x, prices, reduced, bound, finished)


def integer(
    model: Model, *, seconds: float, near: float, start: Floats | None = None
) -> tuple[Floats | None, float]:
    """The best whole point found, and the value that none goes under; content when they are `near`.

    `start` is a feasible point to begin from. With no feasible point at all the value is infinite.
    HiGHS 1.16 maps a start point wrongly through its presolve and then proves a value that no point has;
    so fixed columns and idle rows are left out here, its presolve stays off, and a bound is passed on
    only when the point it comes with is worth what HiGHS says.
    """
    small, kept = _without_fixed(model)
    scale = min(1.0, LARGEST_COST / float(np.max(np.abs(small.cost), initial=1.0)))
    highs = _loaded(small, scale=scale, whole=True)
    options: dict[str, float | str | bool] = {
        "time_limit": max(seconds, 0.0),
        "mip_rel_gap": 0.0,
        "mip_abs_gap": near * scale,
        "presolve": "off",
        "mip_allow_restart": False,
    }
    for name, value in options.items():
        highs.setOptionValue(name, value)
    if start is not None:
        known = highspy.HighsSolution()
        known.col_value = list(start[kept])
        highs.setSolution(known)
    highs.run()
    if highs.getModelStatus() == highspy.HighsModelStatus.kInfeasible:
        return None, np.inf
    values, info = highs.getSolution().col_value, highs.getInfo()
    if not values or not np.isfinite(info.objective_function_value):
        return None, float(info.mip_dual_bound) / scale
    found = model.low.copy()
    found[kept] = values
    stated = info.objective_function_value / scale
    true = abs(model.value(found) - stated) <= BELIEVED * max(1.0, abs(stated))
    return found, float(info.mip_dual_bound) / scale if true else -np.inf


def _without_fixed(model: Model) -> tuple[Model, Ints]:
    """The model over the columns that can move and the rows that can bind, and those columns' numbers."""
    kept = np.flatnonzero(model.high > model.low)
    fixed = np.where(model.high > model.low, 0.0, model.low)
    settled = model.matrix @ fixed
    matrix = model.matrix[:, kept]
    up, down = matrix.maximum(0), matrix.minimum(0)
    low, high = model.low[kept], model.high[kept]
    most, least = up @ high + down @ low + settled, up @ low + down @ high + settled
    binding = (most > model.row_high) | (least < model.row_low)
    small = replace(
        model,
        cost=model.cost[kept],
        low=low,
        high=high,
        whole=model.whole[kept],
        matrix=matrix[binding].tocsc(),
        row_low=(model.row_low - settled)[binding],
        row_high=(model.row_high - settled)[binding],
        offset=model.offset + float(model.cost @ fixed),
    )
    return small, kept


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
