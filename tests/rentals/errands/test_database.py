"""What the database refuses of errands, tried around the Python code."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.db.models import CheckConstraint

from rentals.errands.models import Errand, ErrandKind
from rentals.errands.states import MOVES, ErrandState
from tests.rentals.database.rows import NOON, Rows, copied, inserted, refused_as_twin, refused_by
from tests.rentals.database.test_rules import laid

TWIN = "one_errand_of_a_kind"
CHECKS: list[tuple[str, dict[str, Any]]] = [
    ("errand_state", {"state": "begun"}),
    ("errand_kind", {"kind": "make coffee"}),
    ("errand_progress", {"progress": 101}),
    ("errand_done_has_result", {"state": "done", "result": None, "done_at": NOON}),
    ("errand_done_has_result", {"state": "done", "result": {}, "done_at": None}),
]


def an_errand(rows: Rows, **values: Any) -> Errand:
    usual: dict[str, Any] = {
        "station": rows.station, "kind": ErrandKind.TAKE_SHED, "made_by": rows.user, "asked_at": NOON,
        "asked": {}, "words": "Waiting.", "state": "done", "result": {}, "done_at": NOON,
    }  # fmt: skip
    return Errand.objects.create(**{**usual, **values})


@pytest.mark.parametrize(("name", "wrong"), CHECKS)
def test_a_row_that_cannot_be_is_refused(rows: Rows, name: str, wrong: dict[str, Any]) -> None:
    valid = an_errand(rows)

    with refused_by(name):
        inserted(copied(valid, **wrong))


@pytest.mark.parametrize("state", ["waiting", "working"])
def test_one_of_a_kind_is_under_way_at_a_station(rows: Rows, state: str) -> None:
    first = an_errand(rows, state="waiting")

    with refused_as_twin(("station_id", "kind")):
        inserted(copied(first, state=state))

    Errand.objects.update(state="cancelled")
    inserted(copied(first, state=state))


def test_every_constraint_is_tried_here_and_stands_in_the_database(db: None) -> None:
    with connection.cursor() as cursor:
        found = connection.introspection.get_constraints(cursor, Errand._meta.db_table)
    declared = {constraint.name for constraint in Errand._meta.constraints}
    there = {
        constraint.name
        for constraint in Errand._meta.constraints
        if found[constraint.name]["check" if isinstance(constraint, CheckConstraint) else "unique"]
    }

    assert {name for name, _wrong in CHECKS} | {TWIN} == declared == there


class TestMoves:
    rule = "errand_moves"

    @pytest.mark.parametrize(
        ("old", "new"), [(old, new) for old in ErrandState for new in ErrandState if old is not new]
    )
    def test_an_errand_moves_only_as_its_table_says(
        self, rows: Rows, old: ErrandState, new: ErrandState
    ) -> None:
        errand = Errand.objects.filter(pk=an_errand(rows, state=old).pk)

        if (old, new) in MOVES:
            errand.update(state=new)
            assert errand.get().state == new
        else:
            with refused_by(self.rule):
                errand.update(state=new)


class TestWhatWasAsked:
    rule = "errand_stays"

    @pytest.mark.parametrize(
        "change", [{"kind": ErrandKind.LOAD_DEMO}, {"asked_at": NOON + timedelta(hours=1)}]
    )
    def test_it_stays(self, rows: Rows, change: dict[str, Any]) -> None:
        errand = an_errand(rows)

        with refused_by(self.rule):
            Errand.objects.filter(pk=errand.pk).update(**change)


def test_every_rule_is_tried_here() -> None:
    tried = {each.rule for each in globals().values() if hasattr(each, "rule")}

    assert tried == {rule.name for rule in laid() if rule.name.startswith("errand_")}
