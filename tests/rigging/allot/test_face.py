"""The relaxation's best face: nothing on it is worth less or more, and whole points on it are proven."""

import numpy as np
import pytest

from rigging.allot.face import vertices
from rigging.allot.linear import Relaxation, Relaxed
from rigging.allot.model import Model, build
from rigging.allot.solve import solve
from tests.rigging.allot import instances

SPLIT = instances.day(instances.LARGE_MAST, 9008)
"""A day whose relaxation is worth as much as the best plan, and splits riders all the same."""


@pytest.fixture(scope="module")
def model() -> Model:
    return build(SPLIT)


@pytest.fixture(scope="module")
def relaxed(model: Model) -> Relaxed:
    return Relaxation(model).solve(model, 60.0)


def test_its_points_are_worth_what_the_relaxation_is(model: Model, relaxed: Relaxed) -> None:
    values = [model.value(x) for x in vertices(model, relaxed, 60.0)]

    assert values == pytest.approx([relaxed.bound] * len(values), rel=1e-9)
    assert values


def test_its_points_keep_every_bound_and_row(model: Model, relaxed: Relaxed) -> None:
    for x in vertices(model, relaxed, 60.0):
        rows = model.matrix @ x
        assert np.all((x >= model.low - 1e-6) & (x <= model.high + 1e-6))
        assert np.all((rows >= model.row_low - 1e-6) & (rows <= model.row_high + 1e-6))


def test_it_gives_the_same_points_again(model: Model, relaxed: Relaxed) -> None:
    first, second = list(vertices(model, relaxed, 60.0)), list(vertices(model, relaxed, 60.0))

    assert all(np.array_equal(one, other) for one, other in zip(first, second, strict=True))


def test_it_gives_none_without_time(model: Model, relaxed: Relaxed) -> None:
    assert list(vertices(model, relaxed, 0.0)) == []


def test_it_proves_a_day_that_the_relaxation_splits(model: Model, relaxed: Relaxed) -> None:
    split = np.abs(relaxed.x - np.rint(relaxed.x))[model.whole] > 1e-6

    plan = solve(SPLIT)

    assert split.any()
    assert (plan.proven, plan.method) == (True, "face of the relaxation")
    assert plan.score.value == pytest.approx(relaxed.bound, rel=1e-9)
