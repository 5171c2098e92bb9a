"""The day plan from the command line: solve an instance, or check a plan against its instance."""

import argparse
import json
import sys
from pathlib import Path
from time import perf_counter
from typing import Any

from rigging.allot.check import violations
from rigging.allot.jsonform import from_plan, to_plan, to_problem
from rigging.allot.plan import Plan
from rigging.allot.solve import SECONDS, solve
from rigging.units import BadValue


def main(arguments: list[str]) -> int:
    """Run the command; the exit code is 0 when all is well, 1 for a violation, 2 for bad input."""
    try:
        return _check(arguments[1:]) if arguments[:1] == ["check"] else _solve(arguments)
    except BadValue as refused:
        sys.stderr.write(f"refused: {refused}\n")
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as unread:
        sys.stderr.write(f"can't read it: {unread}\n")
    return 2


def _solve(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(
        prog="python -m rigging.allot", epilog="To check a plan: check INSTANCE PLAN"
    )
    parser.add_argument("instance", type=Path)
    parser.add_argument("--out", type=Path, help="where to write the plan as JSON")
    parser.add_argument("--seconds", type=float, default=SECONDS, help="time limit (default %(default)s)")
    given = parser.parse_args(arguments)
    began = perf_counter()
    problem = to_problem(_read(given.instance))
    plan = solve(problem, given.seconds, perf_counter)
    sys.stdout.write(summary(plan, len(problem.demands), perf_counter() - began) + "\n")
    if given.out:
        given.out.write_text(json.dumps(from_plan(plan, problem), indent=1) + "\n", encoding="utf-8")
    return 0


def _check(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m rigging.allot check")
    parser.add_argument("instance", type=Path)
    parser.add_argument("plan", type=Path)
    given = parser.parse_args(arguments)
    problem = to_problem(_read(given.instance))
    broken = violations(problem, to_plan(_read(given.plan), problem))
    sys.stdout.writelines(f"{line}\n" for line in (*broken, f"{len(broken)} violations"))
    return 1 if broken else 0


def _read(path: Path) -> Any:
    return json.loads(path.read_text(encoding="utf-8"))


def summary(plan: Plan, riders: int, seconds: float) -> str:
    """Objective, bound, gap, riders served and time, in lines."""
    score = plan.score
    proof = (
        "proven: no plan is better" if plan.proven else f"gap {plan.gap:.3%}, {plan.points_open} points open"
    )
    return "\n".join(
        (
            f"served     {score.served} of {riders} riders, {score.points_short} points short",
            f"mismatch   {score.mismatch} hundredths",
            f"rigs       {score.builds} to build, {score.crew_min} crew minutes",
            f"objective  {score.value:.6f}",
            f"bound      {plan.bound:.6f}",
            f"gap        {proof}",
            f"time       {seconds:.2f} s",
        )
    )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
