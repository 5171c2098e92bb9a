"""A walk-in at the counter: can they be served, at once, with the rigs that stand and the day kept warm?"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import highspy
import numpy as np

from rigging.allot.colour import rides
from rigging.allot.heuristic import left_standing
from rigging.allot.linear import loaded, without_fixed
from rigging.allot.model import Crowd, Floats, Model, build, crowded
from rigging.allot.problem import Demand, Problem, known_names, validate, validate_demand
from rigging.allot.shapes import FAR_MIN, Shape, Wishes, carriers
from rigging.allot.solve import SECONDS, WHOLE, Clock, searched
from rigging.units import BadValue

PRIMAL: Final = 4
"""HiGHS's number of the primal simplex method."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a walk-in would get, None when they can't be served, and whose kit would change for it.

    `moved` holds the id of the rider with the sail and the board that they would have instead. `exact`
    says that no other choice is better with these rigs; when it is False nothing is known, and a whole
    re-plan must be asked.
    """

    sail: str | None
    board: str | None
    moved: tuple[tuple[str, str, str], ...]
    exact: bool
    value: float


class Counter:
    """A day whose rigs are fixed, kept solved, to ask about walk-ins one at a time."""

    def __init__(self, problem: Problem, seconds: float = SECONDS, clock: Clock = lambda: 0.0) -> None:
        """Solve the day; `problem` is one as `rigging.allot.replan.rest_of_day` gives it."""
        model = build(validate(problem))
        search = searched(model, seconds, clock)
        self._fixed = left_standing(model, search.x)
        self.model = with_rigs(model, self._fixed)
        small, columns, rows = without_fixed(self.model)
        self._size = len(rows), len(columns)
        self._columns, self._number = columns, {old: n for n, old in enumerate(columns.tolist())}
        self._row = {old: n for n, old in enumerate(rows.tolist())}
        self._highs = loaded(small)
        self._highs.run()
        self._basis = self._highs.getBasis()
        # The day's point stays feasible when a walk-in's columns come at nought: the primal simplex goes on.
        self._highs.setOptionValue("simplex_strategy", PRIMAL)
        self._before = self._whole()
        self._names, self._carried = known_names(problem), carriers(problem)
        rigged = {k: -FAR_MIN for k, _ in self.model.columns.rigs}
        self._wishes = Wishes(problem, rigged, self._carried)
        columns_of = (self.model.columns.sail, self.model.columns.board)
        self._shape_at = {column: d for of in columns_of for (d, _), column in of.items()}

    def ask(self, demand: Demand) -> Answer:
        """What the walk-in would get.

        Raises:
            BadValue: for a walk-in who can't be read into the day.
        """
        validate_demand("walk_in", demand, self._names)
        if demand.group is not None:
            raise BadValue("walk_in.group", demand.group, "", "none, since a walk-in is asked about alone")
        shape, _ = self._wishes.shape(demand)
        rows, columns = self._size
        try:
            self._add(shape)
            self._highs.run()
            return self._answer(shape)
        finally:
            added_columns = np.arange(columns, self._highs.getNumCol(), dtype=np.int32)
            added_rows = np.arange(rows, self._highs.getNumRow(), dtype=np.int32)
            self._highs.deleteCols(len(added_columns), added_columns)
            self._highs.deleteRows(len(added_rows), added_rows)
            self._highs.setBasis(self._basis)

    def _whole(self) -> Floats:
        """The day's point: what is fixed, and what HiGHS found for the rest."""
        x = self._fixed.copy()
        x[self._columns] = self._highs.getSolution().col_value[: len(self._columns)]
        return x

    def _add(self, shape: Shape) -> None:
        """The walk-in's columns and the rows that they need, behind those of the day."""
        highs = self._highs
        one = highs.getNumRow()
        highs.addRow(-highspy.kHighsInf, 1.0, 0, np.empty(0, np.int32), np.empty(0))
        highs.addRow(0.0, 0.0, 0, np.empty(0, np.int32), np.empty(0))
        entries: list[dict[int, float]] = [{one: 1.0, one + 1: 1.0} for _ in shape.sails]
        entries += [{one + 1: -1.0} for _ in shape.boards]
        wishes = [("sails", k) for k, _ in shape.sails] + [("boards", j) for j, _ in shape.boards]
        for pair in _apart(self._carried, shape):
            row = highs.getNumRow()
            highs.addRow(-highspy.kHighsInf, 1.0, 0, np.empty(0, np.int32), np.empty(0))
            for n in pair:
                entries[n][row] = 1.0
        for crowd in self.model.crowds:
            if (crowd.kind, crowd.stock) in wishes:
                column = wishes.index((crowd.kind, crowd.stock))
                for row in self._rows(crowd, shape):
                    entries[column][row] = 1.0
        worth = self.model.weights.point * shape.points
        costs = [loss - worth for _, loss in shape.sails] + [float(loss) for _, loss in shape.boards]
        for n, cost in enumerate(costs):
            at = np.array(list(entries[n]), dtype=np.int32)
            highs.addCol(cost, 0.0, 1.0, len(at), at, np.array(list(entries[n].values())))

    def _rows(self, crowd: Crowd, shape: Shape) -> Iterator[int]:
        """Rows that keep the crowd within its units at the peaks that the walk-in is part of."""
        mine = len(self._fixed)
        within = replace(crowd, spans=(*crowd.spans, (shape.start_min, shape.end_min, mine)))
        supply = 0.0 if crowd.supply is None else self._fixed[crowd.supply]
        for moment, riders, busy in crowded(within, during=(shape.start_min, shape.end_min)):
            known = self._row.get(crowd.rows.get(moment, -1))
            if known is not None:
                yield known
                continue
            others = [column for column in riders if column != mine]
            limit = crowd.units - busy + supply
            if self.model.high[others].sum() + 1 > limit:
                at = np.array([self._number[column] for column in others], dtype=np.int32)
                self._highs.addRow(-highspy.kHighsInf, limit, len(at), at, np.ones(len(at)))
                yield self._highs.getNumRow() - 1

    def _answer(self, shape: Shape) -> Answer:
        x, day = np.array(self._highs.getSolution().col_value), self._whole()
        mine = x[len(self._columns) :]
        finished = self._highs.getModelStatus() == highspy.HighsModelStatus.kOptimal
        exact = finished and bool(np.all(np.abs(x - np.rint(x)) <= WHOLE))
        problem, many = self.model.problem, len(shape.sails)
        sails = [problem.sails[k].name for n, (k, _) in enumerate(shape.sails) if exact and mine[n] > 1 / 2]
        boards = [
            problem.boards[j].name
            for n, (j, _) in enumerate(shape.boards)
            if exact and mine[many + n] > 1 / 2
        ]
        return Answer(
            sail=next(iter(sails), None),
            board=next(iter(boards), None),
            moved=tuple(self._moved(day)) if exact else (),
            exact=exact,
            value=self._highs.getInfo().objective_function_value + self.model.weights.point * shape.points,
        )

    def _moved(self, after: Floats) -> Iterator[tuple[str, str, str]]:
        """Riders whose kit isn't what it was before the walk-in came."""
        changed = np.flatnonzero(np.rint(after) != np.rint(self._before)).tolist()
        touched = sorted({self._shape_at[column] for column in changed})
        was = {ride.demand: (ride.sail, ride.board) for ride in rides(self.model, self._before, touched)}
        problem = self.model.problem
        for ride in rides(self.model, after, touched):
            if was.get(ride.demand) != (ride.sail, ride.board):
                names = problem.sails[ride.sail].name, problem.boards[ride.board].name
                yield problem.demands[ride.demand].id, *names


def with_rigs(model: Model, x: Floats) -> Model:
    """The model with the rigs of a whole point, as they are built and kept in it."""
    columns = model.columns
    parts = (columns.stand, columns.keep, columns.rigs, columns.kept, columns.boom)
    fixed = np.array([column for part in parts for column in part.values()], dtype=int)
    low, high = model.low.copy(), model.high.copy()
    low[fixed] = high[fixed] = x[fixed]
    return replace(model, low=low, high=high)


def _apart(carried: list[frozenset[int]], shape: Shape) -> Iterator[tuple[int, int]]:
    """Places of a sail and a board among the walk-in's columns that don't go together."""
    for n, (k, _) in enumerate(shape.sails):
        for m, (j, _) in enumerate(shape.boards):
            if j not in carried[k]:
                yield n, len(shape.sails) + m
