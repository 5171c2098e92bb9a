"""Good days at once: feasible points of the model before the search begins."""

from dataclasses import replace

import pytest

from rigging.allot.heuristic import first_come, guided
from rigging.allot.linear import Relaxation
from rigging.allot.model import build
from tests.rigging.allot import instances

KINDS = [instances.SMALL, instances.MEDIUM_MAST]


@pytest.mark.parametrize("kind", KINDS)
def test_first_come_keeps_every_row(kind: instances.Kind) -> None:
    model = build(instances.day(kind, 5))

    assert model.holds(first_come(model))


@pytest.mark.parametrize("kind", KINDS)
def test_a_point_guided_by_the_relaxation_is_feasible_and_between_it_and_first_come(
    kind: instances.Kind,
) -> None:
    model = build(instances.day(kind, 5))
    relaxation = Relaxation(model).solve(model, 60.0)

    point = guided(model, relaxation.x, 1e-6)

    assert model.holds(point)
    assert relaxation.bound <= model.value(point) + 1e-6
    assert model.value(point) < model.value(first_come(model))


def test_groups_are_whole_in_both() -> None:
    model = build(instances.day(replace(instances.SMALL, groups=True, masts=0.4), 5))

    assert model.holds(first_come(model))
    assert model.holds(guided(model, Relaxation(model).solve(model, 60.0).x, 1e-6))
