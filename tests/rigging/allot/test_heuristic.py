"""Good days at once: feasible points of the model before the search begins."""

from dataclasses import replace

import numpy as np
import pytest

from rigging.allot.heuristic import completed, first_come
from rigging.allot.model import build
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
