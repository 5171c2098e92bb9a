"""The checker: it finds each rule broken, and names it."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from rigging.allot.check import violations
from rigging.allot.plan import Plan
from rigging.allot.problem import Crew, Hold, Problem, Standing, Window
from rigging.allot.solve import solve
from tests.rigging.allot import sheds

PROBLEM = sheds.shed(
    sheds.rider("a", 10, 11, sails={5.3: 0.1}, group="g"),
    sheds.rider("b", 12, 13, sails={5.3: 0.2}, group="g"),
    sheds.rider("c", 10, 11, sails={6.2: 0.0}),
    sails=(sheds.sail(5.3, 2), sheds.sail(6.2)),
    masts=(sheds.mast(430, 2), sheds.mast(400)),
    boards=(sheds.board(110, 2), sheds.board(90, 1, most_m2=5.0)),
    crew=Crew(rig_min=20, windows=(Window(480, 600, 1),)),
)
PLAN = solve(PROBLEM)

Spoil = Callable[[Plan], Plan]


def kit(plan: Plan, name: str, **changes: object) -> Plan:
    """The plan with one rider's assignment changed."""
    return replace(
        plan,
        assignments=tuple(replace(a, **changes) if a.demand == name else a for a in plan.assignments),  # type: ignore[arg-type]
    )


def rig(plan: Plan, number: int, **changes: object) -> Plan:
    """The plan with one rig changed."""
    rigs = list(plan.rigs)
    rigs[number] = replace(rigs[number], **changes)  # type: ignore[arg-type]
    return replace(plan, rigs=tuple(rigs))


def score(plan: Plan, **changes: int) -> Plan:
    return replace(plan, score=replace(plan.score, **changes))


def without(plan: Plan, name: str) -> Plan:
    return replace(plan, assignments=tuple(a for a in plan.assignments if a.demand != name))


def first(plan: Plan, sail: str) -> int:
    return next(n for n, r in enumerate(plan.rigs) if r.sail.startswith(sail))


def test_it_accepts_the_solvers_plan() -> None:
    assert violations(PROBLEM, PLAN) == ()


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda p: kit(p, "a", demand="nobody"), "nobody is no demand of the day"),
        (lambda p: kit(p, "a", board="M430-1"), "a: M430-1 is no board of the shed"),
        (lambda p: kit(p, "a", rig="R099"), "a: rig R099 does not carry"),
        (lambda p: rig(p, 0, boom="M400-1"), "M400-1 is no boom of the shed"),
        (lambda p: replace(p, assignments=p.assignments * 2), "rider a is in the plan 2 times"),
        (lambda p: replace(p, rigs=p.rigs + p.rigs[:1]), "is in the plan 2 times"),
        (lambda p: without(p, "c"), "c is neither served nor listed"),
        (lambda p: without(p, "b"), "group g: 1 of 2 are served"),
        (lambda p: kit(p, "a", board="D90-1"), "a: marram 90 is vetoed"),
        (lambda p: kit(p, "c", **rig_of(p, "a")), "c: thrift 5.3 is vetoed"),
        (lambda p: kit(p, "a", mismatch=0), "a: mismatch 0 is not that"),
        (lambda p: kit(p, "a", change=7), "a: the cost of the changed promise is not 7"),
        (lambda p: kit(p, "c", board=board_of(p, "a")), "is with a and with c at once"),
        (lambda p: rig(p, first(p, "S6.2"), mast="M400-1"), "cm of extension are needed"),
        (lambda p: rig(p, 1, extension=p.rigs[0].extension), "is with rig R001 and with rig R002 at once"),
        (lambda p: rig(p, first(p, "S5.3"), until_min=650), "does not stand throughout"),
        (lambda p: rig(p, first(p, "S5.3"), ready_min=650), "does not stand throughout"),
        (lambda p: rig(p, 0, built_min=None), "rig R001 has no builder"),
        (lambda p: rig(p, 0, built_min=(470, 490)), "is built when the crew does not work"),
        (lambda p: rig(p, 0, hand=2), "is built when the crew does not work"),
        (lambda p: rig(p, 0, built_min=(480, 490)), "is ready before it is built"),
        (lambda p: rig(p, 1, built_min=p.rigs[0].built_min), "builder 1 is with rig R001 and with rig R002"),
        (lambda p: rig(p, 0, stood=True), "does not stand"),
        (lambda p: kit(p, "a", issued=True), "is issued, and the plan says otherwise"),
        (lambda p: score(p, served=9), "served: the plan says 9, and it is 3"),
        (lambda p: score(p, points_short=9), "points short: the plan says 9, and it is 0"),
        (lambda p: score(p, mismatch=9), "mismatch: the plan says 9, and it is 30"),
        (lambda p: score(p, builds=9), "builds: the plan says 9, and it is 2"),
        (lambda p: score(p, crew_min=9), "crew minutes: the plan says 9, and it is 40"),
        (lambda p: replace(p, bound=p.score.value + 1), "is above the value"),
    ],
)  # fmt: skip
def test_it_names_what_is_wrong(spoil: Spoil, words: str) -> None:
    assert any(words in sentence for sentence in violations(PROBLEM, spoil(PLAN)))


def rig_of(plan: Plan, name: str) -> dict[str, str]:
    (a,) = (a for a in plan.assignments if a.demand == name)
    return {"rig": a.rig, "sail": a.sail}


def board_of(plan: Plan, name: str) -> str:
    return next(a.board for a in plan.assignments if a.demand == name)


class TestFrozen:
    standing = (Standing("S5.3-1", "M430-1", "X46-1", "B140-1"),)
    held = (
        Hold(tag="S5.3-1", start_min=600, end_min=660, demand="a"),
        Hold(tag="D110-1", start_min=600, end_min=660, demand="a"),
    )

    def problem(self) -> Problem:
        alone = tuple(replace(d, group=None) for d in PROBLEM.demands)
        return replace(PROBLEM, demands=alone, standing=self.standing, frozen=self.held)

    def test_it_accepts_a_plan_that_leaves_the_issued_outing_alone(self) -> None:
        assert violations(self.problem(), solve(self.problem())) == ()

    def test_it_sees_a_frozen_board_given_to_another(self) -> None:
        plan = kit(solve(self.problem()), "c", board="D110-1")

        assert any("with a frozen hold" in v for v in violations(self.problem(), plan))

    def test_it_misses_a_standing_rig_that_is_gone(self) -> None:
        plan = solve(self.problem())
        gone = replace(plan, rigs=tuple(r for r in plan.rigs if not r.stood))

        assert any("the standing rig of S5.3-1" in v for v in violations(self.problem(), gone))


def test_it_refuses_a_board_that_does_not_carry_the_sail() -> None:
    rider = sheds.rider("a", sails={5.3: 0.0}, boards={90: 0.0, 110: 0.5})
    problem = sheds.shed(rider, boards=(sheds.board(110), sheds.board(90, most_m2=5.0)))

    plan = kit(solve(problem), "a", board="D90-1", mismatch=0)

    assert any("marram 90 does not carry 5.3 m2" in v for v in violations(problem, plan))
