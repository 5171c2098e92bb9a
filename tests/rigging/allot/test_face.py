"""The relaxation's best face: nothing on it is worth less or more, and whole points on it are proven."""

from dataclasses import replace

import numpy as np
import pytest

from rigging.allot.face import vertices
from rigging.allot.linear import Relaxation, Relaxed
from rigging.allot.model import Floats, Model, build
from tests.rigging.allot import instances

DAY = instances.day(instances.LARGE_MAST, 9008)


@pytest.fixture(scope="module")
def model() -> Model:
    return build(DAY)


@pytest.fixture(scope="module")
def relaxed(model: Model) -> Relaxed:
    """The relaxation at a point that splits riders: half way between two of its best vertices."""
    found = Relaxation(model).solve(model, 60.0)
    one, *_, other = vertices(model, found, 60.0)
    return replace(found, x=(one + other) / 2)


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


def test_it_finds_a_whole_point_where_the_relaxation_splits_riders(model: Model, relaxed: Relaxed) -> None:
    assert not is_whole(model, relaxed.x)

    whole = [x for x in vertices(model, relaxed, 60.0) if is_whole(model, x)]

    assert whole
    assert all(model.holds(np.rint(x)) for x in whole)


def is_whole(model: Model, x: Floats) -> bool:
    return bool(np.all(np.abs(x - np.rint(x))[model.whole] <= 1e-6))
