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
class Look:
    """A day as it was: points short, mismatch in hundredths and riders of its best plan.

    `closed` says that the plan is proven; `at_most` names by kind and stock the points that one unit more
    could gain at most, where it can gain anything; `new` are stocks that the shed has no unit of.
    """

    points_short: int
    mismatch: int
    riders: int
    closed: bool
    at_most: tuple[tuple[str, str, float], ...]
    new: tuple[Wanted, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """What one unit more would have gained on a day; `sure` says that both plans are proven.

    `mismatch` is what the served lose less, negative where serving more riders takes worse sails.
    """

    riders: int
    points: int
    mismatch: int
    sure: bool


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
    looks = {name: look(problem, seconds, clock) for name, problem in days.items()}
    gains = {
        wanted: {day: gain(days[day], wanted, looks[day], seconds, clock) for day in tried}
        for wanted, tried in to_try(looks, top).items()
    }
    return summed(looks, gains)


def look(problem: Problem, seconds: float = SECONDS, clock: Clock = lambda: 0.0) -> Look:
    """Solve a day as it was, and reckon what one unit more could gain at most by its rows' prices.

    Raises:
        BadValue: for whatever is wrong in the day.
    """
    model = build(validate(problem))
    search = searched(model, seconds, clock)
    day = Solved(problem, search, search.relax(model).prices)
    stocks = [(kind, stock) for kind, group in problem.stocks() for stock in group]
    bounds = ((kind, stock.name, _gain_at_most((kind, stock.name), day)) for kind, stock in stocks)
    points_short, mismatch, riders = _counts(search)
    return Look(
        points_short=points_short,
        mismatch=mismatch,
        riders=riders,
        closed=search.closed,
        at_most=tuple(bound for bound in bounds if bound[2] > 0),
        new=tuple((kind, stock.name) for kind, stock in stocks if not stock.units),
    )


def to_try(looks: Mapping[str, Look], top: int = TOP) -> dict[Wanted, tuple[str, ...]]:
    """The purchases that may be the best, each with the days on which it can gain anything.

    All that the shed has no unit of, and of the others those with the highest bounds.
    """
    bounds = _bounds(looks)
    new = {wanted for seen in looks.values() for wanted in seen.new}
    chosen = [wanted for wanted in bounds if wanted in new]
    chosen += [wanted for wanted in _ranked(bounds) if wanted not in new][:top]
    return {wanted: tuple(bounds[wanted]) for wanted in chosen}


def gain(
    problem: Problem, wanted: Wanted, was: Look, seconds: float = SECONDS, clock: Clock = lambda: 0.0
) -> Gain:
    """Solve a day with one unit more of a stock."""
    search = searched(build(with_one_more(problem, *wanted)), seconds, clock)
    points_short, mismatch, riders = _counts(search)
    return Gain(
        riders=riders - was.riders,
        points=was.points_short - points_short,
        mismatch=was.mismatch - mismatch,
        sure=was.closed and search.closed,
    )


def summed(looks: Mapping[str, Look], gains: Mapping[Wanted, Mapping[str, Gain]]) -> Lacks:
    """The purchases that were tried, the best first, and what none of the others can exceed."""
    found = [_purchase(wanted, by_day) for wanted, by_day in gains.items()]
    others = (sum(map(ceil, days.values())) for wanted, days in _bounds(looks).items() if wanted not in gains)
    return Lacks(
        purchases=tuple(sorted(found, key=lambda p: (-p.points, -p.mismatch, p.kind, p.name))),
        others_points=max(others, default=0),
    )


@dataclass(frozen=True, slots=True)
class Solved:
    """A day as it was, with the prices of its rows."""

    problem: Problem
    search: Search
    prices: Floats


def _bounds(looks: Mapping[str, Look]) -> dict[Wanted, dict[str, float]]:
    """By purchase, the points that it could gain at most, by day."""
    out: dict[Wanted, dict[str, float]] = {}
    for day, seen in looks.items():
        for kind, name, most in seen.at_most:
            out.setdefault((kind, name), {})[day] = most
    return out


def _ranked(bounds: Mapping[Wanted, Mapping[str, float]]) -> list[Wanted]:
    return sorted(bounds, key=lambda wanted: (-sum(bounds[wanted].values()), wanted))


def _purchase(wanted: Wanted, gains: Mapping[str, Gain]) -> Purchase:
    kind, name = wanted
    return Purchase(
        kind=kind,
        name=name,
        riders=sum(each.riders for each in gains.values()),
        points=sum(each.points for each in gains.values()),
        mismatch=sum(each.mismatch for each in gains.values()),
        days=tuple(day for day, each in gains.items() if each.points or each.mismatch),
        sure=all(each.sure for each in gains.values()),
    )


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


def with_one_more(problem: Problem, kind: str, name: str) -> Problem:
    """The problem with one unit more of a stock."""
    stocks: tuple[Any, ...] = dict(problem.stocks())[kind]
    more = tuple(
        replace(stock, units=(*stock.units, Unit(f"one more {name}"))) if stock.name == name else stock
        for stock in stocks
    )
    changed: dict[str, Any] = {kind: more}
    return replace(problem, **changed)


def _counts(search: Search) -> tuple[int, int, int]:
    """Points short, mismatch and riders served of the best point."""
    model, x = search.model, search.x
    columns = np.array(list(model.columns.sail.values()), dtype=int)
    builds = round(
        sum(x[c] for c in model.columns.stand.values()) - sum(x[c] for c in model.columns.keep.values())
    )
    rest = search.value - model.weights.point * model.short(x) - model.weights.build * builds
    return model.short(x), round(rest), round(float(np.sum(x[columns])))
