"""Every constraint and rule of plans and rig lists, tried around the services and refused by the database."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.db import connection, models
from django.db.models import CheckConstraint

from rentals.dayplan.models import Plan, RigTask
from rentals.dayplan.states import MOVES, PlanState
from rentals.fleet.models import RIG_PARTS
from tests.rentals.database.rows import HOUR, NOON, Rows, copied, inserted, refused_as_twin, refused_by
from tests.rentals.database.test_rules import laid

NEXT_DAY = date(2027, 7, 15)


@pytest.fixture
def rows(db: None) -> Rows:
    """Valid rows, made when first asked for."""
    return Rows()


def a_plan(rows: Rows, **values: Any) -> Plan:
    """A plan with a result, whatever its state."""
    usual: dict[str, Any] = {
        "number": 1,
        "day": NOON.date(),
        "state": "accepted",
        "accepted_at": NOON,
        "inputs": {"demands": []},
        "formulas": "2026.1",
        "asked_at": NOON - HOUR,
        "result": {"rigs": []},
        "solved_at": NOON,
        "proven": True,
    }
    return Plan.objects.create(station=rows.station, **{**usual, **values})


def a_task(rows: Rows) -> RigTask:
    """A rig of a plan's list."""
    parts = {part.value: rows.item(part) for part in RIG_PARTS}
    return RigTask.objects.create(
        plan=a_plan(rows),
        place=1,
        starts_at=NOON,
        due_at=NOON + HOUR / 4,
        needed_at=NOON + HOUR,
        **parts,
    )


Row = Callable[[Rows], Plan | RigTask]

CHECKS: list[tuple[str, Row, dict[str, Any]]] = [
    ("plan_state", a_plan, {"number": 2, "state": "dreamt"}),
    ("plan_progress", a_plan, {"number": 2, "state": "ready", "progress": 101}),
    ("plan_solved_has_result", a_plan, {"number": 2, "state": "ready", "solved_at": None}),
    ("plan_solved_has_result", a_plan, {"number": 2, "state": "superseded", "proven": None}),
    ("plan_accepted_has_a_time", a_plan, {"day": NEXT_DAY, "accepted_at": None}),
    ("rig_task_span", a_task, {"place": 2, "due_at": NOON}),
    ("rig_task_tick_is_signed", a_task, {"place": 2, "ticked_at": NOON}),
]

TWINS: list[tuple[str, Row, tuple[str, ...], dict[str, Any]]] = [
    ("plan_number_once", a_plan, ("station_id", "day", "number"), {"state": "ready"}),
    ("one_plan_accepted", a_plan, ("station_id", "day"), {"number": 2}),
    ("rig_task_place_once", a_task, ("plan_id", "place"), {}),
]


@pytest.mark.parametrize(("name", "row", "wrong"), CHECKS)
def test_a_row_that_cannot_be_is_refused(rows: Rows, name: str, row: Row, wrong: dict[str, Any]) -> None:
    valid: models.Model = row(rows)

    with refused_by(name):
        inserted(copied(valid, **wrong))


@pytest.mark.parametrize(("name", "row", "columns", "other"), TWINS, ids=[twin[0] for twin in TWINS])
def test_a_second_row_of_what_is_there_once_is_refused(
    rows: Rows, name: str, row: Row, columns: tuple[str, ...], other: dict[str, Any]
) -> None:
    first: models.Model = row(rows)

    with refused_as_twin(columns):
        inserted(copied(first, **other))


class TestOnePlanUnderWay:
    constraint = "one_plan_under_way"

    @pytest.mark.parametrize("state", ["waiting", "solving"])
    def test_one_plan_of_a_day_is_made_at_a_time(self, rows: Rows, state: str) -> None:
        first = a_plan(rows, state="waiting")

        with refused_as_twin(("station_id", "day")):
            inserted(copied(first, number=2, state=state))

        Plan.objects.update(state="cancelled")
        inserted(copied(first, number=2, state=state))


def test_every_constraint_is_tried_here_and_stands_in_the_database(db: None) -> None:
    tried = {name for name, *_ in CHECKS} | {name for name, *_ in TWINS} | {TestOnePlanUnderWay.constraint}
    declared: set[str] = set()
    there: set[str] = set()
    for model in (Plan, RigTask):
        with connection.cursor() as cursor:
            found = connection.introspection.get_constraints(cursor, model._meta.db_table)
        for constraint in model._meta.constraints:
            declared.add(constraint.name)
            kind = "check" if isinstance(constraint, CheckConstraint) else "unique"
            there |= (
                {constraint.name}
                if constraint.name in found and bool(dict(found[constraint.name]).get(kind))
                else set()
            )

    assert tried == declared == there


class TestPlanMoves:
    rule = "plan_moves"
    listed = frozenset((source.value, target.value) for (source, _), target in MOVES.items())

    @pytest.mark.parametrize(
        ("old", "new"), [(old.value, new.value) for old in PlanState for new in PlanState if old is not new]
    )
    def test_a_plan_moves_only_as_its_table_says(self, rows: Rows, old: str, new: str) -> None:
        plan = a_plan(rows, state=old)

        if (old, new) in self.listed:
            Plan.objects.filter(pk=plan.pk).update(state=new)
            assert Plan.objects.get(pk=plan.pk).state == new
        else:
            with refused_by(self.rule):
                Plan.objects.filter(pk=plan.pk).update(state=new)

    def test_the_table_puts_only_what_is_ready_in_force(self) -> None:
        assert {old for old, new in self.listed if new == "accepted"} == {"ready"}


class TestPlanAskedStays:
    rule = "plan_asked_stays"

    @pytest.mark.parametrize(
        "change",
        [
            {"day": NEXT_DAY},
            {"number": 2},
            {"inputs": {"demands": [1]}},
            {"formulas": "2026.2"},
            {"aside": [{"outing_id": 1, "why": "late"}]},
            {"asked_at": NOON},
        ],
        ids=lambda change: next(iter(change)),
    )
    def test_what_a_plan_was_asked_is_not_changed(self, rows: Rows, change: dict[str, Any]) -> None:
        plan = a_plan(rows)

        with refused_by(self.rule):
            Plan.objects.filter(pk=plan.pk).update(**change)

    def test_how_far_it_is_may_be_noted(self, rows: Rows) -> None:
        plan = a_plan(rows, state="solving", result=None)

        Plan.objects.filter(pk=plan.pk).update(progress=40, words="Solving.", heartbeat_at=NOON)

        assert Plan.objects.get(pk=plan.pk).progress == 40


class TestPlanResultStays:
    rule = "plan_result_stays"

    @pytest.mark.parametrize("result", [{"rigs": [1]}, None], ids=["another", "none"])
    def test_what_came_of_a_plan_is_not_changed(self, rows: Rows, result: object) -> None:
        plan = a_plan(rows, state="cancelled")

        with refused_by(self.rule):
            Plan.objects.filter(pk=plan.pk).update(result=result)


class TestRigTaskStays:
    rule = "rig_task_stays"

    def test_a_rig_of_the_list_is_not_changed(self, rows: Rows) -> None:
        task = RigTask.objects.filter(pk=a_task(rows).pk)

        with refused_by(self.rule):
            task.update(needed_at=NOON + 2 * HOUR)
        with refused_by(self.rule):
            task.update(sail=rows.item())

    def test_its_tick_may_come_and_go(self, rows: Rows) -> None:
        task = RigTask.objects.filter(pk=a_task(rows).pk)

        task.update(ticked_at=NOON, ticked_by=rows.user)
        task.update(ticked_at=None, ticked_by=None)

        assert task.get().ticked_at is None


def test_every_rule_is_tried_here() -> None:
    tried = {each.rule for each in globals().values() if hasattr(each, "rule")}
    ours = {rule.name for rule in laid() if rule.name.startswith(("plan_", "rig_task_"))}

    assert tried == ours
