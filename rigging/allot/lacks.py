"""What the shed lacks: over many days, which purchase would have served the most riders.

A day's row prices say at once how much one unit more could gain at most, so only the purchases that may
be the best are solved; the answer states the most that any other could have gained.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import ceil
from typing import Any, Final

import numpy as np

from rigging.allot.linear import bound_from
from rigging.allot.model import Floats, Model, build
from rigging.allot.problem import Problem, Unit, validate
from rigging.allot.solve import SECONDS, Clock, Search, all_served, searched

TOP: Final = 5
"""Purchases solved to the end when nothing else is asked. Status: policy."""

Wanted = tuple[str, str]
"""A kind of stock and the name of one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Purchase:
    """One unit more of a stock: what it would have gained over the days, and the days on which it did.

    `points` and `riders` may be served more; `mismatch` is what the served lose less, in hundredths, and
    is negative where serving more riders takes worse sails. `sure` says that every day was proven.
    """

    kind: str
    name: str
    riders: int
    points: int
    mismatch: int
    days: tuple[str, ...]
    sure: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Lacks:
    """The purchases that gain most, best first, and the points that no other one can exceed."""

    purchases: tuple[Purchase, ...]
    others_points: int


@dataclass(frozen=True, slots=True)
class Solved:
    """A day as it was, with the prices of its rows."""

    problem: Problem
    search: Search
    prices: Floats


def lacks(
    days: Mapping[str, Problem], *, top: int = TOP, seconds: float = SECONDS, clock: Clock = lambda: 0.0
) -> Lacks:
    """Find the single purchases that would have gained most over the days.

    Args:
        days: by name the problem of each day; a stock without units is one that the shed might buy, and
            is solved in any case.
        top: how many other purchases to solve.
        seconds: time limit of each day's solution.

    Raises:
        BadValue: for whatever is wrong in a day.
    """
    known = {name: _solved(problem, seconds, clock) for name, problem in days.items()}
    bounds = {wanted: _at_most(wanted, known) for wanted in _stocks(known)}
    new = [wanted for wanted in bounds if not _owned(wanted, known)]
    order = sorted(bounds.keys() - set(new), key=lambda wanted: (-sum(bounds[wanted].values()), wanted))
    found = [_purchase(wanted, known, bounds[wanted], seconds, clock) for wanted in (*new, *order[:top])]
    return Lacks(
        purchases=tuple(sorted(found, key=lambda p: (-p.points, -p.mismatch, p.kind, p.name))),
        others_points=max((sum(map(ceil, bounds[wanted].values())) for wanted in order[top:]), default=0),
    )


def _solved(problem: Problem, seconds: float, clock: Clock) -> Solved:
    model = build(validate(problem))
    search = searched(model, seconds, clock)
    return Solved(problem, search, search.relax(model).prices)


def _stocks(known: Mapping[str, Solved]) -> Iterator[Wanted]:
    kinds = (group for day in known.values() for group in day.problem.stocks())
    yield from dict.fromkeys((kind, stock.name) for kind, stocks in kinds for stock in stocks)


def _owned(wanted: Wanted, known: Mapping[str, Solved]) -> bool:
    kind, name = wanted
    days = (dict(day.problem.stocks())[kind] for day in known.values())
    return any(stock.name == name and stock.units for stocks in days for stock in stocks)


def _at_most(wanted: Wanted, known: Mapping[str, Solved]) -> dict[str, float]:
    """Points that one unit more could gain at most, by day, for the days on which it can gain any."""
    gains = {name: _gain_at_most(wanted, day) for name, day in known.items()}
    return {name: gain for name, gain in gains.items() if gain > 0}


def _gain_at_most(wanted: Wanted, day: Solved) -> float:
    kind, name = wanted
    stocks = dict(day.problem.stocks())[kind]
    index = next((n for n, stock in enumerate(stocks) if stock.name == name), None)
    if index is None:
        return 0.0
    search, model = day.search, day.search.model
    if not stocks[index].units:
        return float(model.short(search.x))
    bound = max(bound_from(_with_room(model, kind, index), day.prices)[1], all_served(model))
    gain = search.value - bound
    return gain / model.weights.point if gain > search.finest else 0.0


def _with_room(model: Model, kind: str, index: int) -> Model:
    """The model with one unit more wherever the stock sets a limit."""
    row_high, high = model.row_high.copy(), model.high.copy()
    row_high[[row for row, source in model.sources.items() if source == (kind, index)]] += 1
    high[list(_counted(model, kind, index))] += 1
    return replace(model, row_high=row_high, high=high)


def _counted(model: Model, kind: str, index: int) -> Iterator[int]:
    """The columns whose upper bound is the number of the stock's units."""
    columns, part = model.columns, kind.removesuffix("s")
    for built in (columns.stand, columns.keep):
        for (p, _), column in built.items():
            if getattr(model.patterns[p], part, None) == index:
                yield column
    if kind == "sails":
        yield from (c for built in (columns.rigs, columns.kept) for (k, _), c in built.items() if k == index)
    if kind == "booms":
        yield from (c for (_, b), c in columns.boom.items() if b == index)


def _purchase(
    wanted: Wanted, known: Mapping[str, Solved], bounds: Mapping[str, float], seconds: float, clock: Clock
) -> Purchase:
    riders = points = mismatch = 0
    days, sure = [], True
    for name in bounds:
        was = known[name].search
        now = searched(build(with_one_more(known[name].problem, *wanted)), seconds, clock)
        gain = _counts(was) - _counts(now)
        riders, points, mismatch = riders - int(gain[2]), points + int(gain[0]), mismatch + int(gain[1])
        sure = sure and was.closed and now.closed
        if gain[0] or gain[1]:
            days.append(name)
    kind, stock = wanted
    return Purchase(
        kind=kind, name=stock, riders=riders, points=points, mismatch=mismatch, days=tuple(days), sure=sure
    )


def with_one_more(problem: Problem, kind: str, name: str) -> Problem:
    """The problem with one unit more of a stock."""
    stocks: tuple[Any, ...] = dict(problem.stocks())[kind]
    more = tuple(
        replace(stock, units=(*stock.units, Unit(f"one more {name}"))) if stock.name == name else stock
        for stock in stocks
    )
    changed: dict[str, Any] = {kind: more}
    return replace(problem, **changed)


def _counts(search: Search) -> Floats:
    """Points short, mismatch and riders served of the best point."""
    model, x = search.model, search.x
    columns = np.array(list(model.columns.sail.values()), dtype=int)
    builds = round(
        sum(x[c] for c in model.columns.stand.values()) - sum(x[c] for c in model.columns.keep.values())
    )
    rest = search.value - model.weights.point * model.short(x) - model.weights.build * builds
    return np.array([model.short(x), round(rest), round(float(np.sum(x[columns])))])
