"""Solve the day: a good plan at once, a bound from the relaxation, and the search between the two."""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from math import floor
from typing import Final

import numpy as np
import numpy.typing as npt

from rigging.allot.colour import Coloured, coloured, rig_list
from rigging.allot.explain import unserved
from rigging.allot.face import vertices
from rigging.allot.heuristic import completed, first_come, nobody_served
from rigging.allot.linear import Relaxation, Relaxed, integer, rounded_point
from rigging.allot.model import POINT_OVER_WORST, Floats, Model, build
from rigging.allot.plan import Plan
from rigging.allot.problem import Problem, validate
from rigging.allot.score import assigned, issued, scored
from rigging.units import in_range

SECONDS: Final = 20.0
"""Time limit when none is given. Status: policy."""

SHORT_S: Final = 2.0
"""Under so many seconds the riders are first served as they come, to have a plan at all. Status: policy."""

LONGEST_S: Final = 24 * 3600.0
"""Longest time limit. Status: policy."""

WHOLE: Final = 1e-6
"""How near to a whole number counts as whole. Status: policy; the solver's own tolerance."""

REACHES: Final = (3.0, 15.0)
"""Hundredths over the relaxation within which the best plan is sought first. Status: calibrated here."""

ROUNDING_SHARE: Final = 0.5
"""Share of the time left that may go into rounding the relaxation. Status: policy."""

FACE_SHARE: Final = 0.25
"""Share of the time left that may go into looking for a whole point as good as it. Status: policy."""

Clock = Callable[[], float]


@dataclass(slots=True)
class Search:
    """The best point so far, the value that no point goes under, and the time left."""

    model: Model
    seconds: float
    clock: Clock
    x: Floats
    bound: float
    points_only: bool = False
    method: str = "nobody served"
    _relaxation: Relaxation | None = None
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
        """Whether no other plan can be better; by points alone, whether none can serve more."""
        if self.value - self.bound < self.finest:
            return True
        return self.points_only and self.model.short(self.x) <= points_ruled_out(self.model, self.bound)

    @property
    def near(self) -> float:
        """How near to the best a point must be for the search to end."""
        point = self.model.weights.point
        return point * (1 - 2 / POINT_OVER_WORST) if self.points_only else self.finest / 2

    def relax(self, model: Model) -> Relaxed:
        """Solve a variant of the model without wholeness, from where the last one ended; heed its bound."""
        if self._relaxation is None:
            self._relaxation = Relaxation(self.model)
        relaxation = self._relaxation.solve(model, self.left)
        self.bound = max(self.bound, relaxation.bound)
        return relaxation

    def offer(self, x: Floats | None, method: str) -> None:
        """Take the point when it is feasible and better."""
        if x is None:
            return
        whole = rounded(self.model, x)
        if self.model.holds(whole) and self.model.value(whole) < self.value - self.finest:
            self.x, self.method = whole, method


def solve(
    problem: Problem,
    seconds: float = SECONDS,
    clock: Clock = lambda: 0.0,
    *,
    points_only: bool = False,
) -> Plan:
    """The best plan found within the seconds, with its bound.

    `clock` tells seconds as they pass; without one each stage has all the seconds. What is proven
    within the limit doesn't depend on the clock: the same problem gives the same plan. With `points_only`
    the search ends once nobody more can be served, whatever their mismatch.

    Raises:
        BadValue: named by the path of the field that is wrong.
    """
    in_range("seconds", seconds, "s", 0.0, LONGEST_S)
    began = clock()
    model = build(validate(problem))
    search = searched(model, seconds - (clock() - began), clock, points_only=points_only)
    found = coloured(model, search.x)
    plan, by_pattern = planned(search, found), frozenset[int]()
    while found.dropped and clock() - began < seconds:
        by_pattern |= {ride.sail for ride in found.dropped}
        model = build(problem, by_pattern)
        search = searched(model, seconds - (clock() - began), clock, points_only=points_only)
        found = coloured(model, search.x)
        plan = min(planned(search, found), plan, key=lambda plan: plan.score.value)
    return plan


def planned(search: Search, found: Coloured) -> Plan:
    """The plan of a search's best point, by tags."""
    model = search.model
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


def searched(model: Model, seconds: float, clock: Clock, *, points_only: bool = False) -> Search:
    """Search the model: relaxation, rounding, and what is left between; first come where time is short."""
    search = Search(model, seconds, clock, nobody_served(model), all_served(model), points_only)
    if seconds < SHORT_S:
        search.offer(first_come(model), "first come")
    if search.closed or not model.shapes or search.left <= 0:
        return search
    relaxation = _relax(search)
    if not relaxation.finished:
        if seconds >= SHORT_S:
            search.offer(first_come(model), "first come")
        return search
    if not search.closed:
        _among_best(search, relaxation)
    if not search.closed:
        _round(search, relaxation)
    if not search.closed:
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
    relaxation = search.relax(search.model)
    if not relaxation.finished:
        return relaxation
    search.offer(relaxation.x, "relaxation")
    if search.closed or not (least := points_ruled_out(search.model, search.bound)):
        return relaxation
    tighter = search.relax(search.model.with_points(least_short=least))
    search.offer(tighter.x if tighter.finished else None, "relaxation")
    return tighter if tighter.finished else relaxation


def points_ruled_out(model: Model, bound: float) -> int:
    """The least points that every plan falls short of, by the bound."""
    point = model.weights.point
    worst = point / POINT_OVER_WORST
    return max(0, floor((bound - worst) / point) + 1)


def _among_best(search: Search, relaxation: Relaxed) -> None:
    """Look for a whole point among those worth as much as the relaxation."""
    for x in vertices(search.model, relaxation, search.left * FACE_SHARE):
        search.offer(x, "face of the relaxation")
        if search.closed:
            return


def _round(search: Search, relaxation: Relaxed) -> None:
    """Hold the riders whom the relaxation places, and what it would pay for moving; choose for the others.

    Where that is too hard in the time, leave the others out, find the rigs, and serve whom they still can.
    """
    model, x = search.model, relaxation.x
    riders = np.zeros(len(x), dtype=bool)
    riders[[*model.columns.sail.values(), *model.columns.board.values()]] = True
    near = np.abs(x - np.rint(x)) <= WHOLE
    held = riders & near & ((x > WHOLE) | (relaxation.reduced > WHOLE))
    found = _held(search, np.where(held, np.rint(x), np.nan), ROUNDING_SHARE)
    if found is None:
        found = _held(search, np.where(riders, _whole_only(model, x, near), np.nan), ROUNDING_SHARE)
        search.offer(first_come(model), "first come")
        found = None if found is None else completed(model, rounded(model, found))
    search.offer(found, "rounded relaxation")


def _whole_only(model: Model, x: Floats, near: npt.NDArray[np.bool_]) -> Floats:
    """The point without the shapes of which it places anybody in parts, and without their groups."""
    out = np.rint(x)
    columns: dict[int, list[int]] = defaultdict(list)
    for part in (model.columns.sail, model.columns.board):
        for (d, _), column in part.items():
            columns[d].append(column)
    broken = {d for d, mine in columns.items() if not near[mine].all()}
    groups = {model.shapes[d].group for d in broken} - {None}
    for d, mine in columns.items():
        if d in broken or model.shapes[d].group in groups:
            out[mine] = 0.0
    return out


def _held(search: Search, values: Floats, share: float) -> Floats | None:
    """A good whole point with these values, where they are numbers, in a share of the time left."""
    low = np.where(np.isnan(values), search.model.low, values)
    high = np.where(np.isnan(values), search.model.high, values)
    narrow = replace(search.model, low=low, high=high)
    return rounded_point(narrow, seconds=search.left * share, near=search.near)


def _close(search: Search, relaxation: Relaxed) -> None:
    """Search what could still be better: first for points, then among the plans with the most points."""
    point = search.model.weights.point
    if search.model.short(search.x) > points_ruled_out(search.model, search.bound):
        _search(search, search.model, relaxation, near=point * (1 - 2 / POINT_OVER_WORST))
    short = search.model.short(search.x)
    if short == points_ruled_out(search.model, search.bound) and not search.closed:
        relaxation = search.relax(search.model.with_points(least_short=short))
        settled = search.model.among(short=short, worst=search.value - point * short)
        _search(search, settled, relaxation, near=search.finest / 2)


def _search(search: Search, model: Model, relaxation: Relaxed, near: float) -> None:
    """Search near the relaxation first, then as far from it as a better plan can be.

    A column off its bound costs at least its reduced cost over the relaxation: whatever uses one beyond the
    reach is worth no less than the relaxation and the reach together.
    """
    for reach in (*REACHES, np.inf):
        gap = search.value - relaxation.bound + search.finest
        if search.closed or search.left <= 0:
            return
        narrow = _narrowed(model, relaxation, min(reach, gap))
        start = search.x if np.all((search.x >= narrow.low) & (search.x <= narrow.high)) else None
        found, bound = integer(narrow, start, seconds=search.left, near=near)
        search.offer(found, "search")
        beyond = search.value if reach >= gap else relaxation.bound + reach
        search.bound = max(search.bound, min(bound, beyond, search.value))
        if reach >= gap:
            return


def _narrowed(model: Model, relaxation: Relaxed, reach: float) -> Model:
    """The model without the columns that cost more than the reach when they are off their bounds."""
    low, high = model.low.copy(), model.high.copy()
    up, down = relaxation.reduced > reach, relaxation.reduced < -reach
    high[up], low[down] = low[up], high[down]
    return replace(model, low=low, high=high)
