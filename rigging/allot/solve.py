"""Solve the day: a good plan at once, a bound from the relaxation, and the search between the two."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from math import floor
from typing import Final

import numpy as np

from rigging.allot.colour import coloured, rig_list
from rigging.allot.explain import unserved
from rigging.allot.heuristic import first_come
from rigging.allot.linear import Relaxed, integer, relaxed
from rigging.allot.model import POINT_OVER_WORST, Floats, Model, build
from rigging.allot.plan import Plan
from rigging.allot.problem import Problem, validate
from rigging.allot.score import assigned, issued, scored

SECONDS: Final = 20.0
"""Time limit when none is given. Status: policy."""

WHOLE: Final = 1e-6
"""How near to a whole number counts as whole. Status: policy; the solver's own tolerance."""

ROUNDING_SHARE: Final = 0.25
"""Share of the time left that may go into rounding the relaxation. Status: policy."""

Clock = Callable[[], float]


@dataclass(slots=True)
class Search:
    """The best point so far, the value that no point goes under, and the time left."""

    model: Model
    seconds: float
    clock: Clock
    x: Floats
    bound: float
    limited: Model
    method: str = "first come"
    began: float = field(init=False)

    def __post_init__(self) -> None:
        self.began = self.clock()

    @property
    def left(self) -> float:
        return self.seconds - (self.clock() - self.began)

    @property
    def value(self) -> float:
        return self.model.value(self.x)

    @property
    def finest(self) -> float:
        """Half the least by which two plans can differ."""
        return self.model.weights.build / 2

    @property
    def closed(self) -> bool:
        """Whether no other plan can be better."""
        return self.value - self.bound < self.finest

    def offer(self, x: Floats | None, method: str) -> None:
        """Take the point when it is feasible and better."""
        if x is None:
            return
        whole = rounded(self.model, x)
        if self.model.holds(whole) and self.model.value(whole) < self.value - self.finest:
            self.x, self.method = whole, method


def solve(problem: Problem, seconds: float = SECONDS, clock: Clock = lambda: 0.0) -> Plan:
    """The best plan found within the seconds, with its bound.

    `clock` tells seconds as they pass; without one each stage has all the seconds. What is proven
    within the limit doesn't depend on the clock: the same problem gives the same plan.

    Raises:
        BadValue: named by the path of the field that is wrong.
    """
    began = clock()
    model = build(validate(problem))
    search = searched(model, seconds - (clock() - began), clock)
    return planned(search)


def planned(search: Search) -> Plan:
    """The plan of a search's best point, by tags."""
    model, found = search.model, coloured(search.model, search.x)
    rigs = rig_list(model, found.rigs)
    places = {id(rig): n for n, rig in enumerate(found.rigs)}
    assignments = [
        assigned(model, ride, rigs[places[id(rig)]], board) for ride, rig, board in found.riders
    ] + issued(model.problem, found.rigs, rigs)
    served = {a.demand for a in assignments}
    score = scored(model, assignments, sum(not rig.stood for rig in rigs.values()))
    bound = min(search.bound, score.value)
    return Plan(
        assignments=tuple(sorted(assignments, key=lambda a: a.demand)),
        rigs=tuple(rigs[n] for n in sorted(rigs, key=lambda n: rigs[n].id)),
        unserved=unserved(model, search.x, served),
        score=score,
        bound=bound,
        gap=(score.value - bound) / score.value if score.value > bound else 0.0,
        points_open=score.points_short - points_ruled_out(model, bound),
        proven=score.value - bound < search.finest,
        method=search.method,
    )


def searched(model: Model, seconds: float, clock: Clock) -> Search:
    """Search the model: first come, relaxation, rounding, and what is left between."""
    search = Search(model, seconds, clock, first_come(model), all_served(model), model)
    if search.closed or not model.shapes or search.left <= 0:
        return search
    relaxation = _relax(search)
    if relaxation.finished and not search.closed:
        _round(search, relaxation)
    if relaxation.finished and not search.closed:
        _close(search, relaxation)
    return search


def rounded(model: Model, x: Floats) -> Floats:
    """The point with every unknown at its nearest whole number."""
    return np.clip(np.rint(x), model.low, model.high)


def all_served(model: Model) -> float:
    """A bound that needs no solver: every rider who could be served alone gets the best sail and board."""
    best = sum(
        len(shape.demands)
        * (
            min(loss for _, loss in shape.sails) + min(loss for _, loss in shape.boards)
            if shape.sails
            else shape.points * model.weights.point
        )
        for shape in model.shapes
    )
    return float(best)


def _relax(search: Search) -> Relaxed:
    """Solve the relaxation; once more when its bound rules out a count of points."""
    relaxation = relaxed(search.model, search.left)
    search.bound = max(search.bound, relaxation.bound)
    if not relaxation.finished:
        return relaxation
    search.offer(relaxation.x, "relaxation")
    if search.closed or not (least := points_ruled_out(search.model, search.bound)):
        return relaxation
    search.limited = search.model.with_points(least_short=least)
    tighter = relaxed(search.limited, search.left)
    search.bound = max(search.bound, tighter.bound)
    search.offer(tighter.x if tighter.finished else None, "relaxation")
    return tighter if tighter.finished else relaxation


def points_ruled_out(model: Model, bound: float) -> int:
    """The least points that every plan falls short of, by the bound."""
    point = model.weights.point
    worst = point / POINT_OVER_WORST
    return max(0, floor((bound - worst) / point) + 1)


def _round(search: Search, relaxation: Relaxed) -> None:
    """Hold the riders whom the relaxation leaves whole, and choose for the others."""
    riders = np.zeros(len(relaxation.x), dtype=bool)
    riders[[*search.model.columns.sail.values(), *search.model.columns.board.values()]] = True
    held = riders & (np.abs(relaxation.x - np.rint(relaxation.x)) <= WHOLE)
    low, high = search.model.low.copy(), search.model.high.copy()
    low[held] = high[held] = np.rint(relaxation.x[held])
    narrow = replace(search.limited, low=low, high=high)
    found, _ = integer(narrow, seconds=search.left * ROUNDING_SHARE, near=search.finest / 2)
    search.offer(found, "rounded relaxation")


def _close(search: Search, relaxation: Relaxed) -> None:
    """Search what could still be better: first for points, then among the plans with the most points."""
    model = search.model
    least = points_ruled_out(model, search.bound)
    if model.short(search.x) > least:
        narrow = _narrowed(search, search.limited, relaxation)
        near = model.weights.point * (1 - 2 / POINT_OVER_WORST)
        found, bound = integer(narrow, seconds=search.left, near=near, start=search.x)
        search.offer(found, "search")
        search.bound = max(search.bound, min(bound, search.value))
        least = points_ruled_out(model, search.bound)
    if model.short(search.x) == least and not search.closed:
        settled = model.at_points(short=least)
        relaxation = relaxed(settled, search.left)
        search.bound = max(search.bound, relaxation.bound)
        narrow = _narrowed(search, settled, relaxation)
        found, bound = integer(narrow, seconds=search.left, near=search.finest / 2, start=search.x)
        search.offer(found, "search")
        search.bound = max(search.bound, min(bound, search.value))


def _narrowed(search: Search, model: Model, relaxation: Relaxed) -> Model:
    """The model without what can't be in a better plan: a column off its bound that costs over the gap."""
    gap = search.value - relaxation.bound + search.finest
    low, high = model.low.copy(), model.high.copy()
    up, down = relaxation.reduced > gap, relaxation.reduced < -gap
    high[up], low[down] = low[up], high[down]
    return replace(model, low=low, high=high)
