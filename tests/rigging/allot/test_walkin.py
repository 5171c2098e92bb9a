"""Walk-ins: the answer of the warm day is that of a cold solve with the same rigs."""

from dataclasses import replace

import numpy as np
import pytest

from rigging.allot.linear import rounded_point
from rigging.allot.model import Model, build
from rigging.allot.problem import Demand, Priority, Problem
from rigging.allot.replan import News, rest_of_day
from rigging.allot.solve import solve
from rigging.allot.walkin import Counter, with_rigs
from rigging.units import BadValue
from tests.rigging.allot import instances, sheds

NOON = 12 * 60


def rest(seed: int) -> Problem:
    problem = instances.day(replace(instances.SMALL, boards=0.3, masts=0.5), seed)
    return rest_of_day(problem, solve(problem), News(now_min=NOON))


def walk_ins(problem: Problem) -> list[Demand]:
    """The riders to come, each once more and half an hour later, as strangers."""
    later = [demand for demand in problem.demands if demand.start_min > NOON][:10]
    return [
        replace(
            demand,
            id="walk-in",
            start_min=demand.start_min + 30,
            end_min=demand.end_min + 30,
            priority=Priority.WALK_IN,
            promised=None,
        )
        for demand in later
    ]


def cold_value(problem: Problem, warm: Model) -> float:
    """The value of the day solved anew with the rigs of the warm one, in the warm one's weights."""
    model = build(problem)
    x = model.low.copy()
    for part in ("stand", "keep", "rigs", "kept", "boom"):
        for key, column in getattr(model.columns, part).items():
            x[column] = warm.low[getattr(warm.columns, part)[key]]
    found = rounded_point(with_rigs(model, x), seconds=10, near=model.weights.build / 4)
    assert found is not None
    whole, columns = np.rint(found), model.columns
    builds = sum(whole[list(columns.stand.values())]) - sum(whole[list(columns.keep.values())])
    short = model.short(whole)
    mismatch = model.value(whole) - model.weights.point * short - model.weights.build * builds
    return float(warm.weights.point * short + mismatch + warm.weights.build * builds)


@pytest.mark.parametrize("seed", range(4))
def test_it_answers_as_a_cold_solve_with_the_same_rigs(seed: int) -> None:
    problem = rest(seed)
    counter = Counter(problem)
    answers = [(walk_in, counter.ask(walk_in)) for walk_in in walk_ins(problem)]

    exact = [(walk_in, answer) for walk_in, answer in answers if answer.exact]

    assert len(exact) > len(answers) / 2
    for walk_in, answer in exact:
        cold = cold_value(replace(problem, demands=(*problem.demands, walk_in)), counter.model)
        assert answer.value == pytest.approx(cold, abs=1e-3)


def test_it_forgets_a_walk_in_after_the_answer() -> None:
    problem = rest(1)
    counter = Counter(problem)
    first, *others = walk_ins(problem)

    answer = counter.ask(first)
    for other in others:
        counter.ask(other)

    assert counter.ask(first) == answer


class TestByHand:
    booked = sheds.rider("booked", 14, 16, sails={5.3: 0.0, 4.2: 0.1})
    sails = (sheds.sail(5.3), sheds.sail(4.2))
    masts = (sheds.mast(430), sheds.mast(400))

    def counter(self) -> Counter:
        early = sheds.rider("early", 9, 11, sails={4.2: 0.0})
        problem = sheds.shed(early, self.booked, sails=self.sails, masts=self.masts)
        return Counter(rest_of_day(problem, solve(problem), News(now_min=NOON)))

    def test_it_gives_a_walk_in_what_stands_free(self) -> None:
        answer = self.counter().ask(sheds.rider("walk-in", 14, 15, sails={4.2: 0.2}))

        assert (answer.sail, answer.board, answer.moved) == ("thrift 4.2", "marram 110", ())

    def test_it_says_whose_kit_changes_for_the_walk_in(self) -> None:
        answer = self.counter().ask(sheds.rider("walk-in", 14, 15, sails={5.3: 0.0}))

        assert answer.moved == (("booked", "thrift 4.2", "marram 110"),)

    def test_it_says_no_when_no_rig_is_left(self) -> None:
        problem = sheds.shed(replace(self.booked, sails={"thrift 5.3": 0.0}))
        counter = Counter(rest_of_day(problem, solve(problem), News(now_min=NOON)))

        answer = counter.ask(sheds.rider("walk-in", 14, 15, sails={5.3: 0.0}))

        assert (answer.sail, answer.exact) == (None, True)

    def test_it_refuses_a_group(self) -> None:
        with pytest.raises(BadValue, match=r"walk_in\.group"):
            self.counter().ask(sheds.rider("walk-in", 14, 15, sails={}, group="g"))
