"""Good days at once: feasible points of the model before the search begins."""

from dataclasses import replace

import numpy as np
import pytest

from rigging.allot.heuristic import completed, first_come, left_standing, nobody_served
from rigging.allot.model import Floats, Model, build
from rigging.allot.problem import Problem
from rigging.allot.replan import News, rest_of_day
from rigging.allot.solve import solve
from tests.rigging.allot import instances

KINDS = [instances.SMALL, instances.MEDIUM_MAST]


@pytest.mark.parametrize("kind", KINDS)
def test_first_come_keeps_every_row(kind: instances.Kind) -> None:
    model = build(instances.day(kind, 5))

    assert model.holds(first_come(model))


@pytest.mark.parametrize("kind", KINDS)
def test_completing_a_plan_serves_more_riders_and_moves_nobody(kind: instances.Kind) -> None:
    """The plan is first come's with every third rider taken out."""
    model = build(instances.day(kind, 5))
    some = first_come(model)
    for (d, _), column in [*model.columns.sail.items(), *model.columns.board.items()]:
        if d % 3 == 0:
            some[column] = 0.0

    whole = completed(model, some)

    assert model.holds(whole)
    assert np.all(whole >= some)
    assert model.short(whole) < model.short(some)


def test_groups_are_whole() -> None:
    model = build(instances.day(replace(instances.SMALL, groups=True, masts=0.4), 5))

    assert model.holds(first_come(model))


class TestLeftStanding:
    """Taking down a rig that nobody needs is no better than leaving it up, and worse for a walk-in."""

    def test_it_leaves_up_what_stands_in_nobodys_way(self) -> None:
        model = build(rest())
        taken_down = only_what_is_out(model)

        left = left_standing(model, taken_down)

        assert model.holds(left)
        assert left.tolist() == nobody_served(model).tolist() != taken_down.tolist()

    @pytest.mark.parametrize("seed", range(3))
    def test_it_changes_neither_the_worth_nor_what_riders_get(self, seed: int) -> None:
        model = build(rest(seed))
        x = first_come(model)

        left = left_standing(model, x)

        riders = [*model.columns.sail.values(), *model.columns.board.values()]
        assert model.holds(left)
        assert model.value(left) == model.value(x)
        assert left[riders].tolist() == x[riders].tolist()


def rest(seed: int = 0) -> Problem:
    day = instances.day(instances.SMALL, seed)
    return rest_of_day(day, solve(day), News(now_min=13 * 60))


def only_what_is_out(model: Model) -> Floats:
    """Nobody served, and every rig taken down that no rider is out on."""
    x, columns = nobody_served(model), model.columns
    for (p, s), keep in columns.keep.items():
        down = x[keep] - model.low[keep]
        k = model.patterns[p].sail
        x[[columns.stand[p, s], keep, columns.rigs[k, s], columns.kept[k, s]]] -= down
    return x
