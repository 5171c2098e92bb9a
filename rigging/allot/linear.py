"""Linear and integer programmes through HiGHS, with bounds that are recomputed rather than believed."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import highspy
import numpy as np

from rigging.allot.flows import ROOM, flows
from rigging.allot.model import Floats, Model
from rigging.allot.timeline import Ints

THREADS: Final = 1
"""HiGHS keeps one thread count for the whole process: every call here states the same one."""

LARGEST_COST: Final = 1e4
"""Costs are scaled under this for HiGHS, whose tolerances are absolute. Status: policy."""

SOFT_POINT: Final = 1000.0
"""Hundredths that a point weighs at first: over any mismatch of one rider. Status: calibrated here."""

INTERIOR_COLUMNS: Final = 20_000
"""From so many columns on the interior point method is faster than the simplex. Status: calibrated here."""

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


class Relaxation:
    """A model without wholeness, kept warm: changed costs and points are solved from where it was.

    First a point weighs no more than it must. That nearly always finds the vertex that is best at the true
    weight too, in a third of the time; the true cost has the last word.
    """

    def __init__(self, model: Model) -> None:
        self._columns, self._points_row = len(model.cost), model.points_row
        self._flows = flows(model)
        slack = self._flows.slack
        worth = model.matrix[model.points_row].toarray()[0]
        soft = replace(
            model,
            cost=np.append(model.cost + (model.weights.point - SOFT_POINT) * worth, np.zeros(slack)),
            low=np.append(model.low, np.zeros(slack)),
            high=np.append(model.high, np.full(slack, ROOM)),
            matrix=self._flows.matrix,
            row_low=self._flows.row_low,
            row_high=self._flows.row_high,
        )
        self._highs = loaded(soft)
        # It finds next to nothing in flows, and costs a tenth of the time.
        self._highs.setOptionValue("presolve", "off")
        self._highs.setOptionValue("solver", "ipx" if self._columns > INTERIOR_COLUMNS else "simplex")
        self._soft = True

    def solve(self, model: Model, seconds: float) -> Relaxed:
        """Solve a variant of the model that differs in costs and in the limits of its points row."""
        until = self._highs.getRunTime() + max(seconds, 0.0)
        low, high = model.row_low[self._points_row], model.row_high[self._points_row]
        self._highs.changeRowBounds(self._points_row, low, high)
        self._highs.setOptionValue("time_limit", until)
        if self._soft:
            self._highs.run()
            self._highs.setOptionValue("solver", "simplex")
            self._soft = False
        self._highs.changeColsCost(self._columns, np.arange(self._columns, dtype=np.int32), model.cost)
        self._highs.run()
        return self._found(model)

    def _found(self, model: Model) -> Relaxed:
        solution = self._highs.getSolution()
        finished = self._highs.getModelStatus() == highspy.HighsModelStatus.kOptimal
        x = np.array(solution.col_value)[: self._columns] if solution.col_value else model.low
        duals = np.array(solution.row_dual) if solution.row_dual else np.zeros(len(model.row_high))
        prices = self._flows.prices(duals)
        reduced, bound = bound_from(model, prices)
        return Relaxed(x, prices, reduced, bound, finished)


def rounded_point(model: Model, *, seconds: float, near: float) -> Floats | None:
    """A whole point that is good, quickly: nothing is claimed of it."""
    found, _, _ = _searched(model, {"time_limit": max(seconds, 0.0), "mip_abs_gap": near})
    return found


def integer(
    model: Model, start: Floats | None, *, seconds: float, near: float
) -> tuple[Floats | None, float]:
    """The best whole point found, from a feasible start if there is one, and the value that none goes under.

    HiGHS 1.16 maps a start point wrongly through its presolve and then proves a value that no point has;
    so fixed columns and idle rows are left out here, its presolve stays off, and its bound is passed on
    only when the point it comes with is worth what HiGHS says.
    """
    options: dict[str, float | str | bool] = {
        "time_limit": max(seconds, 0.0),
        "mip_abs_gap": near,
        "presolve": "off",
        "mip_allow_restart": False,
    }
    found, stated, bound = _searched(model, options, start)
    if found is not None and abs(model.value(found) - stated) > BELIEVED * max(1.0, abs(stated)):
        return found, -np.inf
    return found, bound


def _searched(
    model: Model, options: Mapping[str, float | str | bool], start: Floats | None = None
) -> tuple[Floats | None, float, float]:
    """What HiGHS finds, what it says that is worth, and its bound; infinite where it finds that none is."""
    small, kept, _ = without_fixed(model)
    scale = min(1.0, LARGEST_COST / float(np.max(np.abs(small.cost), initial=1.0)))
    highs = loaded(small, scale=scale, whole=True)
    highs.setOptionValue("mip_rel_gap", 0.0)
    for name, value in options.items():
        highs.setOptionValue(name, value * scale if name == "mip_abs_gap" else value)  # type: ignore[operator]
    if start is not None:
        known = highspy.HighsSolution()
        known.col_value = list(start[kept])
        highs.setSolution(known)
    highs.run()
    if highs.getModelStatus() == highspy.HighsModelStatus.kInfeasible:
        return None, np.inf, np.inf
    values, info = highs.getSolution().col_value, highs.getInfo()
    bound = float(info.mip_dual_bound) / scale
    if not values or not np.isfinite(info.objective_function_value):
        return None, np.inf, bound
    found = model.low.copy()
    found[kept] = values
    return found, float(info.objective_function_value) / scale, bound


def without_fixed(model: Model) -> tuple[Model, Ints, Ints]:
    """The model over the columns that can move and the rows that can bind, and the numbers of both."""
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
    return small, kept, np.flatnonzero(binding)


def loaded(model: Model, *, scale: float = 1.0, whole: bool = False) -> highspy.Highs:
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
