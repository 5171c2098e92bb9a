"""The day by trying everything: tiny days at random, and the best score there is, by rules written anew."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import product

import numpy as np

from rigging.allot.check import misfits
from rigging.allot.problem import POINTS, Crew, Demand, Priority, Problem, Window, hundredths
from tests.rigging.allot import sheds

Choice = tuple[str, str] | None
Score = tuple[int, int, int]
"""Points short, mismatch, builds: less is better, in this order."""


def tiny(seed: int) -> Problem:
    """A day of one to four riders over a shed of a few units, some of it lacking."""
    rng = np.random.default_rng(seed)
    sails = [sheds.sail(area, int(rng.integers(1, 3))) for area in (4.2, 5.3, 6.2) if rng.random() < 0.8]
    masts = [sheds.mast(length, int(rng.integers(1, 3))) for length in (400, 430) if rng.random() < 0.8]
    boards = [
        sheds.board(litres, int(rng.integers(1, 3)), most_m2=most)
        for litres, most in ((90, 5.5), (110, 9.0))
        if rng.random() < 0.9
    ]
    booms = [sheds.boom(140, 185, int(rng.integers(1, 3))), sheds.boom(160, 200, int(rng.integers(1, 3)))]
    limited = Crew(rig_min=20, windows=(Window(480, 600, 1), Window(600, 620, int(rng.integers(0, 2)))))
    return sheds.shed(
        *(_rider(rng, f"d{n}") for n in range(int(rng.integers(1, 5)))),
        crew=limited if rng.random() < 0.3 else Crew(),
        sails=tuple(sails),
        masts=tuple(masts),
        booms=tuple(booms),
        extensions=(sheds.extension(24), sheds.extension(46, 1)),
        boards=tuple(boards),
        turn_round_min=int(rng.choice([0, 15])),
    )


def _rider(rng: np.random.Generator, name: str) -> Demand:
    start = 600 + 30 * int(rng.integers(1, 6))
    return Demand(
        id=name,
        start_min=start,
        end_min=start + 30 * int(rng.integers(1, 5)),
        priority=list(Priority)[int(rng.integers(3))],
        mass_kg=75.0,
        sails={},
        boards={},
        group="lesson" if rng.random() < 0.3 else None,
    )


def with_wishes(problem: Problem, seed: int) -> Problem:
    """The day with wishes for what its shed has."""
    rng = np.random.default_rng([seed, 1])

    def wishes(names: list[str]) -> dict[str, float]:
        return {name: int(rng.integers(0, 60)) / 100 for name in names if rng.random() < 0.75}

    return replace(
        problem,
        demands=tuple(
            replace(
                demand,
                sails=wishes([stock.name for stock in problem.sails]),
                boards=wishes([stock.name for stock in problem.boards]),
            )
            for demand in problem.demands
        ),
    )


def best(problem: Problem) -> Score:
    """The least score over every choice of sail and board for every rider."""
    return min(
        score
        for choices in product(*(list(_pairs(problem, demand)) for demand in problem.demands))
        if (score := _score(problem, choices)) is not None
    )


def _pairs(problem: Problem, demand: Demand) -> Iterator[Choice]:
    yield None
    sails = {stock.name: stock.spec for stock in problem.sails}
    boards = {stock.name: stock.spec for stock in problem.boards}
    for sail, board in product(demand.sails, demand.boards):
        if boards[board].sail_min_m2 <= sails[sail].area_m2 <= boards[board].sail_max_m2:
            yield sail, board


def _score(problem: Problem, choices: tuple[Choice, ...]) -> Score | None:
    rides = [(demand, choice) for demand, choice in zip(problem.demands, choices, strict=True) if choice]
    served = {demand.id for demand, _ in rides}
    groups = {demand.group for demand in problem.demands if demand.group and demand.id in served}
    if any(demand.group in groups and demand.id not in served for demand in problem.demands):
        return None
    for stock in problem.boards:
        if _together(problem, [d for d, (_, board) in rides if board == stock.name]) > len(stock.units):
            return None
    rigs = Counter(
        {
            name: _together(problem, [d for d, (s, _) in rides if s == name])
            for name in {s for _, (s, _) in rides}
        }
    )
    if problem.crew.windows and sum(rigs.values()) > _room(
        problem, min((d.start_min for d, _ in rides), default=0)
    ):
        return None
    if not _buildable(problem, tuple(sorted(rigs.elements()))):
        return None
    short = sum(POINTS[d.priority] for d in problem.demands if d.id not in served)
    mismatch = sum(hundredths(d.sails[s]) + hundredths(d.boards[b]) for d, (s, b) in rides)
    return short, mismatch, sum(rigs.values())


def _together(problem: Problem, demands: list[Demand]) -> int:
    minutes = {d.start_min for d in demands}
    turn = problem.turn_round_min
    return max((sum(d.start_min <= at < d.end_min + turn for d in demands) for at in minutes), default=0)


def _room(problem: Problem, first_min: int) -> int:
    """Rigs that the crew can build before the first rider, who never comes within the windows."""
    before = [w for w in problem.crew.windows or () if w.end_min <= first_min]
    return sum((w.end_min - w.start_min) // problem.crew.rig_min * w.hands for w in before)


def _buildable(problem: Problem, rigs: tuple[str, ...]) -> bool:
    """Whether parts can be found for all the rigs, by trying each in turn."""
    sails = {stock.name: stock for stock in problem.sails}

    @cache
    def rest(n: int, masts: tuple[int, ...], extensions: tuple[int, ...], booms: tuple[int, ...]) -> bool:
        if n == len(rigs):
            return True
        for m, x, b in product(range(len(masts)), range(len(extensions)), range(len(booms))):
            if masts[m] and extensions[x] and booms[b]:
                parts = (problem.masts[m].spec, problem.extensions[x].spec, problem.booms[b].spec)
                if not list(misfits(sails[rigs[n]].spec, *parts)) and rest(
                    n + 1, _less(masts, m), _less(extensions, x), _less(booms, b)
                ):
                    return True
        return False

    if any(rigs.count(name) > len(sails[name].units) for name in set(rigs)):
        return False
    return rest(
        0,
        tuple(len(stock.units) for stock in problem.masts),
        tuple(len(stock.units) for stock in problem.extensions),
        tuple(len(stock.units) for stock in problem.booms),
    )


def _less(counts: tuple[int, ...], at: int) -> tuple[int, ...]:
    return (*counts[:at], counts[at] - 1, *counts[at + 1 :])
