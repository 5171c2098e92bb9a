"""How long the day plan takes and what it gains: seeded days beside first come, HiGHS straight, per unit.

Run: `uv run --all-groups python -m tests.benchmarks.bench_allot [OUT.md] [--days 20] [--only desk stations]`

Every figure is from one run on one machine. Times are wall times of one process; `cpu` is that process's own
time, which a busy machine disturbs less. The peers solve the same days: first come is the heuristic that
serves riders in order of points; "HiGHS straight" is the solver's integer search on our model; "per unit"
makes every sail and board a class of its own, as one writes the model without thinking of classes.
"""

import argparse
import os
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median
from time import perf_counter, process_time

import numpy as np

from rigging.allot.check import violations
from rigging.allot.heuristic import first_come
from rigging.allot.linear import LARGEST_COST, Relaxation, loaded
from rigging.allot.model import Model, build
from rigging.allot.problem import Priority, Problem, Stock, Window
from rigging.allot.promise import promise
from rigging.allot.replan import News, rest_of_day
from rigging.allot.solve import solve
from rigging.allot.walkin import Counter
from tests.rigging.allot import instances as made

CLASSES = {
    "40 riders, 60 sails": (made.SMALL, 1.0),
    "200, 150 sails": (made.MEDIUM, 1.0),
    "200, masts scarce": (made.MEDIUM_MAST, 1.0),
    "300, one station": (made.STATION, 3.0),
    "600, 300 sails": (made.LARGE, 20.0),
    "600, masts scarce": (made.LARGE_MAST, 20.0),
    "1,500, one pool": (made.POOLED, 10.0),
}
"""Days by class, with the seconds within which the target has them proven."""

STRAIGHT_GAP = 1e-8
"""Relative gap at which HiGHS alone may stop: about a hundredth of mismatch in a station's day."""

FIRST_SEED = 9000
"""Seeds that nothing was tuned on."""


@dataclass(frozen=True, kw_only=True)
class Timed:
    """One day: seconds to a first plan, of the relaxation, and to the end; what was served by whom."""

    first_s: float
    relaxed_s: float
    whole_s: float
    cpu_s: float
    proven: bool
    gap: float
    served: int
    points_short: int
    first_served: int
    first_points_short: int
    clean: bool


def timed(problem: Problem, limit_s: float) -> Timed:
    """Solve a day, and its parts apart."""
    began = perf_counter()
    model = build(problem)
    first = first_come(model)
    first_s = perf_counter() - began
    began = perf_counter()
    Relaxation(model).solve(model, limit_s)
    relaxed_s = perf_counter() - began
    began, cpu = perf_counter(), process_time()
    plan = solve(problem, limit_s, perf_counter)
    return Timed(
        first_s=first_s,
        relaxed_s=relaxed_s,
        whole_s=perf_counter() - began,
        cpu_s=process_time() - cpu,
        proven=plan.proven,
        gap=plan.gap,
        served=plan.score.served,
        points_short=plan.score.points_short,
        first_served=served(model, first),
        first_points_short=model.short(first),
        clean=not violations(problem, plan),
    )


def served(model: Model, x: np.ndarray) -> int:
    """Riders with a sail."""
    return round(float(sum(x[column] for column in model.columns.sail.values())))


def days(kind: made.Kind, count: int) -> Iterator[Problem]:
    """Fresh days of a class."""
    return (made.day(kind, FIRST_SEED + seed) for seed in range(count))


def row(*cells: object) -> str:
    """A line of a Markdown table."""
    return "| " + " | ".join(str(cell) for cell in cells) + " |"


def heading(*cells: str) -> Iterator[str]:
    """The head of a Markdown table."""
    yield row(*cells)
    yield row(*("---" for _ in cells))


def quantiles(values: list[float]) -> str:
    """Median, 95th of a hundred, and most."""
    return " / ".join(f"{value:.2f}" for value in np.quantile(values, [0.5, 0.95, 1.0]))


def classes(count: int) -> Iterator[str]:
    """Times and proofs by class of day."""
    yield "Times in s: median / 95th of a hundred / most, over fresh seeded days.\n"
    yield from heading(
        "days", "n", "first plan", "relaxation", "whole", "whole, cpu", "proven", "target", "in time",
        "worst gap", "served beside first come, %", "checker clean",
    )  # fmt: skip
    for name, (kind, target_s) in CLASSES.items():
        found = [timed(problem, 20.0) for problem in days(kind, count)]
        in_time = sum(day.proven and day.whole_s <= target_s for day in found)
        more = [100 * (day.served / day.first_served - 1) for day in found]
        yield row(
            name,
            len(found),
            quantiles([day.first_s for day in found]),
            quantiles([day.relaxed_s for day in found]),
            quantiles([day.whole_s for day in found]),
            quantiles([day.cpu_s for day in found]),
            f"{sum(day.proven for day in found)}",
            f"{target_s:g} s",
            f"{in_time}",
            f"{max(day.gap for day in found):.3%}",
            f"{min(more):.1f} / {median(more):.1f} / {max(more):.1f}",
            sum(day.clean for day in found),
        )


def peers(count: int) -> Iterator[str]:
    """The same days by other means."""
    yield "\nOurs beside HiGHS straight on the same model and beside the per-unit model, 20 s at most.\n"
    yield from heading(
        "days", "n", "ours, s", "HiGHS straight, s", "ratio", "per unit, s", "ratio", "per unit proven"
    )
    for name in ("40 riders, 60 sails", "200, 150 sails", "200, masts scarce", "300, one station"):
        ours, straight, single, proven = [], [], [], 0
        for problem in days(CLASSES[name][0], max(1, count // 4)):
            ours.append(seconds(lambda day=problem: solve(day, 20.0, perf_counter)))  # type: ignore[misc]
            straight.append(highs_straight(problem, 20.0)[0])
            took, closed = highs_straight(per_unit(problem), 20.0)
            single.append(took)
            proven += closed
        yield row(
            name,
            len(ours),
            f"{median(ours):.2f}",
            f"{median(straight):.2f}",
            f"{median(s / o for s, o in zip(straight, ours, strict=True)):.1f}",
            f"{median(single):.2f}",
            f"{median(s / o for s, o in zip(single, ours, strict=True)):.0f}",
            f"{proven}",
        )


def highs_straight(problem: Problem, limit_s: float) -> tuple[float, bool]:
    """Seconds, and whether it was done, of HiGHS's integer search with its own presolve and heuristics."""
    began = perf_counter()
    model = build(problem)
    highs = loaded(model, scale=LARGEST_COST / float(np.max(np.abs(model.cost))), whole=True)
    highs.setOptionValue("time_limit", limit_s)
    highs.setOptionValue("mip_rel_gap", STRAIGHT_GAP)
    highs.run()
    return perf_counter() - began, highs.getInfo().mip_gap <= STRAIGHT_GAP


def per_unit(problem: Problem) -> Problem:
    """The day with every sail and board a class of its own."""

    def apart(stocks: tuple[Stock, ...]) -> tuple[Stock, ...]:  # type: ignore[type-arg]
        return tuple(
            Stock(replace(stock.spec, name=unit.tag), (unit,)) for stock in stocks for unit in stock.units
        )

    names = {
        kind: {stock.name: [unit.tag for unit in stock.units] for stock in stocks}
        for kind, stocks in problem.stocks()
    }

    def spread(kind: str, losses: dict[str, float]) -> dict[str, float]:
        return {tag: loss for name, loss in losses.items() for tag in names[kind][name]}

    return replace(
        problem,
        sails=apart(problem.sails),
        boards=apart(problem.boards),
        demands=tuple(
            replace(d, sails=spread("sails", dict(d.sails)), boards=spread("boards", dict(d.boards)))
            for d in problem.demands
        ),
    )


def seconds(work: Callable[[], object]) -> float:
    """Time of one call."""
    began = perf_counter()
    work()
    return perf_counter() - began


def growth() -> Iterator[str]:
    """From forty riders to three thousand."""
    yield "\nGrowth, one shed of half as many sails as riders; 60 s at most.\n"
    yield from heading("riders", "whole, s", "relaxation, s", "proven", "gap", "served")
    for riders in (40, 100, 200, 400, 800, 1500, 3000):
        kind = replace(made.MEDIUM, riders=riders, sails=max(40, riders // 2))
        problem = made.day(kind, FIRST_SEED)
        model = build(problem)
        relaxed_s = seconds(lambda model=model: Relaxation(model).solve(model, 60.0))  # type: ignore[misc]
        began = perf_counter()
        plan = solve(problem, 60.0, perf_counter)
        yield row(
            f"{riders:,}",
            f"{perf_counter() - began:.2f}",
            f"{relaxed_s:.2f}",
            "yes" if plan.proven else "no",
            f"{plan.gap:.3%}",
            plan.score.served,
        )


def mismatch(count: int) -> Iterator[str]:
    """What the same riders lose less than first come gives them."""
    yield "\nMismatch of just the riders whom first come serves, ours below its, %: least / median / most.\n"
    yield from heading("days", "n", "less")
    for name in ("200, 150 sails", "200, masts scarce", "300, one station"):
        less = [_less(problem) for problem in days(CLASSES[name][0], max(3, count // 2))]
        yield row(name, len(less), f"{min(less):.0f} / {median(less):.0f} / {max(less):.0f}")


def _less(problem: Problem) -> float:
    model = build(problem)
    x = first_come(model)
    there = {
        index
        for (d, _), c in model.columns.sail.items()
        if x[c]
        for index in model.shapes[d].demands[: round(x[c])]
    }
    lost = model.value(x) - model.weights.point * model.short(x)
    same = replace(problem, demands=tuple(d for n, d in enumerate(problem.demands) if n in there))
    return 100 * (1 - solve(same, 20.0, perf_counter).score.mismatch / lost)


def desk(count: int) -> Iterator[str]:
    """What the desk waits for."""
    yield "\nAt the desk, ms: median / 95th of a hundred / most.\n"
    yield from heading("what", "n", "ms", "target")
    for name in ("200, 150 sails", "200, masts scarce", "600, 300 sails"):
        asked = [ms for problem in days(CLASSES[name][0], max(2, count // 6)) for ms in _walk_ins(problem)]
        yield row(f"walk-in, {name}", len(asked), quantiles(asked), "25 at the 95th")
    promised = [_promise(problem) for problem in days(made.MEDIUM, count)]
    yield row("promise against three winds, 200 riders", count, quantiles(promised), "300")


def _walk_ins(problem: Problem) -> Iterator[float]:
    now = 13 * 60
    rest = rest_of_day(problem, solve(problem, 20.0, perf_counter), News(now_min=now))
    counter = Counter(rest, 20.0, perf_counter)
    for demand in [d for d in problem.demands if d.start_min > now][:25]:
        late = replace(demand, id="walk-in", start_min=demand.start_min + 15, end_min=demand.end_min + 15)
        asked = replace(late, priority=Priority.WALK_IN)
        yield 1000 * seconds(lambda asked=asked: counter.ask(asked))  # type: ignore[misc]


def _promise(problem: Problem) -> float:
    party = frozenset(d.id for d in problem.demands[-4:])
    winds = {
        wind: replace(
            problem, demands=tuple(replace(d, sails=_shifted(d.sails, shift)) for d in problem.demands)
        )
        for wind, shift in (("light", -0.1), ("middle", 0.0), ("strong", 0.1))
    }
    return 1000 * seconds(lambda: promise(winds, party, 10.0, perf_counter))


def _shifted(losses: object, shift: float) -> dict[str, float]:
    """The losses in a wind that is off by the shift: small sails gain where large ones lose."""
    named = dict(losses)  # type: ignore[call-overload]
    return {
        name: min(1.0, abs(loss + shift * (1 if float(name.split()[-1]) > 5 else -1)))
        for name, loss in named.items()
    }


def re_rigs(count: int) -> Iterator[str]:
    """Days on which the crew may build again."""
    yield "\nRe-rigs: windows 07-09 (6 hands) and 12-13 (2), or 11-12 and 14:30-15:30; 20 s at most.\n"
    yield from heading("days", "n", "whole, s", "proven", "worst gap", "checker clean")
    morning = Window(420, 540, 6)
    for name, windows in (
        ("200, masts scarce, two windows", (morning, Window(720, 780, 2))),
        ("200, masts scarce, three windows", (morning, Window(660, 720, 2), Window(870, 930, 2))),
    ):
        kind = replace(made.MEDIUM_MAST, windows=windows)
        times, plans, clean = [], [], 0
        for problem in days(kind, max(2, count // 4)):
            began = perf_counter()
            plans.append(solve(problem, 20.0, perf_counter))
            times.append(perf_counter() - began)
            clean += not violations(problem, plans[-1])
        worst = max(plan.gap for plan in plans)
        yield row(name, len(plans), quantiles(times), sum(p.proven for p in plans), f"{worst:.3%}", clean)


def stations() -> Iterator[str]:
    """Ten stations at once, as workers with a process each take them."""
    cores = os.cpu_count() or 1
    problems = list(days(made.STATION, 10))
    alone = [seconds(lambda day=problem: solve(day, 20.0, perf_counter)) for problem in problems]  # type: ignore[misc]
    with ProcessPoolExecutor(cores) as pool:
        list(pool.map(solved, problems[:cores]))  # processes are up and the solver is loaded
        together = seconds(lambda: list(pool.map(solved, problems)))
    yield "\nTen stations of 300 at once, one process a core.\n"
    yield from heading("cores", "together, s", "one after another, s", "together beside sum / cores")
    yield row(cores, f"{together:.2f}", f"{sum(alone):.2f}", f"{together / (sum(alone) / cores):.2f}")


def solved(problem: Problem) -> bool:
    """Whether a day was proven within the time that a worker gives it."""
    return solve(problem, 20.0, perf_counter).proven


def main(arguments: list[str]) -> int:
    """Print the tables, and write them where asked."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.bench_allot")
    parser.add_argument("out", nargs="?", type=Path)
    parser.add_argument("--days", type=int, default=20)
    parts: dict[str, Callable[[int], Iterator[str]]] = {
        "classes": classes,
        "re-rigs": re_rigs,
        "peers": peers,
        "growth": lambda _: growth(),
        "mismatch": mismatch,
        "desk": desk,
        "stations": lambda _: stations(),
    }
    parser.add_argument("--only", choices=parts, nargs="+", default=list(parts))
    given = parser.parse_args(arguments)
    lines = []
    for part in given.only:
        for line in parts[part](given.days):
            sys.stdout.write(line + "\n")
            sys.stdout.flush()
            lines.append(line)
    if given.out:
        given.out.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
