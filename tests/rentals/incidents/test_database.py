"""Every constraint and rule of incidents, tried around the services and refused by the database."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, models
from django.db.models import CheckConstraint

from rentals.bookings.models import Outing
from rentals.incidents.models import CallMade, Closing, FollowUp, Incident, IncidentItem, Telling
from tests.rentals.database.rows import HOUR, NOON, Rows, copied, inserted, refused_as_twin, refused_by
from tests.rentals.database.test_rules import laid


@pytest.fixture
def rows(db: None) -> Rows:
    """Valid rows, made when first asked for."""
    return Rows()


def an_incident(rows: Rows) -> Incident:
    """An incident nothing is told of."""
    return Incident.objects.create(station=rows.station, reported_at=NOON, reported_by=rows.user)


def a_telling(rows: Rows) -> Telling:
    """A first telling."""
    return Telling.objects.create(
        incident=an_incident(rows),
        version=1,
        at=NOON,
        by=rows.user,
        kind="damage",
        severity="minor",
        cause="ground",
        happened_at=NOON - HOUR,
        words="Ran aground.",
    )


def an_item(rows: Rows) -> IncidentItem:
    """An item of an incident."""
    return IncidentItem.objects.create(incident=an_incident(rows), item=rows.item(), at=NOON)


def a_closing(rows: Rows) -> FollowUp:
    """A closed incident."""
    return FollowUp.objects.create(
        incident=an_incident(rows), at=NOON, by=rows.user, step="closed", turn=1, words="Done"
    )


def a_signature(rows: Rows) -> Closing:
    """A day signed off."""
    return Closing.objects.create(
        station=rows.station, day=NOON.date(), turn=1, step="signed", at=NOON, by=rows.user, name="Jory"
    )


def a_call(rows: Rows) -> CallMade:
    """Somebody was told."""
    return CallMade.objects.create(outing=rows.outing(), at=NOON, by=rows.user, whom="Rescue service")


Row = Callable[[Rows], models.Model]

CHECKS: list[tuple[str, Row, dict[str, Any]]] = [
    ("telling_counts_from_one", a_telling, {"version": 0, "why": "Wrong"}),
    ("telling_kind", a_telling, {"version": 2, "why": "Wrong", "kind": "fire"}),
    ("telling_severity", a_telling, {"version": 2, "why": "Wrong", "severity": "huge"}),
    ("telling_cause", a_telling, {"version": 2, "why": "Wrong", "cause": "fate"}),
    ("telling_says_what", a_telling, {"version": 2, "why": "Wrong", "words": ""}),
    ("correction_says_why", a_telling, {"version": 2}),
    ("told_after_it_happened", a_telling, {"version": 2, "why": "Wrong", "happened_at": NOON + HOUR}),
    ("follow_up_says_what", a_closing, {"step": "note", "turn": None, "words": ""}),
    ("follow_up_step", a_closing, {"step": "note", "turn": 2}),
    ("follow_up_step", a_closing, {"step": "closed", "turn": None}),
    ("follow_up_step", a_closing, {"step": "shelved", "turn": None}),
    ("closing_by_a_named_person", a_signature, {"step": "reopened", "turn": 2, "name": ""}),
    ("call_made_to_somebody", a_call, {"whom": ""}),
    ("closing_step", a_signature, {"step": "shut", "turn": 2}),
]
TWINS: list[tuple[str, Row, tuple[str, ...], dict[str, Any]]] = [
    ("telling_once_per_version", a_telling, ("incident_id", "version"), {"why": "Wrong"}),
    ("item_once_per_incident", an_item, ("incident_id", "item_id"), {}),
]
BY_A_RULE_FIRST = {"incident_turn_once", "closing_turn_once"}
"""The rule of turns refuses the same turn before the constraint, which is for two transactions at once."""

KEPT: dict[type[models.Model], Row] = {
    Incident: an_incident,
    Telling: a_telling,
    IncidentItem: an_item,
    FollowUp: a_closing,
    Closing: a_signature,
    CallMade: a_call,
}


@pytest.mark.parametrize(("name", "row", "wrong"), CHECKS)
def test_a_row_that_cannot_be_is_refused(rows: Rows, name: str, row: Row, wrong: dict[str, Any]) -> None:
    valid = row(rows)

    with refused_by(name):
        inserted(copied(valid, **wrong))


@pytest.mark.parametrize(("name", "row", "columns", "other"), TWINS, ids=[twin[0] for twin in TWINS])
def test_a_second_row_of_what_is_there_once_is_refused(
    rows: Rows, name: str, row: Row, columns: tuple[str, ...], other: dict[str, Any]
) -> None:
    first = row(rows)

    with refused_as_twin(columns):
        inserted(copied(first, **other))


class TestTurns:
    rule = "incident_turns_alternate"

    @pytest.mark.parametrize(
        ("step", "turn"), [("closed", 1), ("reopened", 1), ("closed", 2), ("reopened", 3), ("closed", 3)]
    )
    def test_after_a_closing_only_the_next_turn_opens_it(self, rows: Rows, step: str, turn: int) -> None:
        closed = a_closing(rows)

        with refused_by(self.rule):
            inserted(copied(closed, step=step, turn=turn))

    def test_they_take_turns(self, rows: Rows) -> None:
        closed = a_closing(rows)
        inserted(copied(closed, step="reopened", turn=2))
        inserted(copied(closed, step="closed", turn=3))

        assert FollowUp.objects.count() == 3

    def test_nothing_is_opened_that_was_not_closed(self, rows: Rows) -> None:
        with refused_by(self.rule):
            FollowUp.objects.create(
                incident=an_incident(rows), at=NOON, by=rows.user, step="reopened", turn=1, words="Again"
            )


class TestDaysTakeTurns:
    rule = "closing_turns_alternate"

    @pytest.mark.parametrize(("step", "turn"), [("signed", 1), ("signed", 2), ("reopened", 3), ("signed", 3)])
    def test_a_signed_day_is_only_opened_again(self, rows: Rows, step: str, turn: int) -> None:
        first = a_signature(rows)

        with refused_by(self.rule):
            inserted(copied(first, step=step, turn=turn))

    def test_then_it_is_signed_anew(self, rows: Rows) -> None:
        first = a_signature(rows)
        inserted(copied(first, step="reopened", turn=2))
        inserted(copied(first, step="signed", turn=3))

        assert Closing.objects.count() == 3


class TestNobodyAfloatWhenSigned:
    rule = "closing_with_nobody_afloat"

    def test_a_day_is_not_signed_while_somebody_is(self, rows: Rows) -> None:
        outing = rows.outing()
        rows.check(outing)
        Outing.objects.filter(pk=outing.pk).update(state="kitted")
        Outing.objects.filter(pk=outing.pk).update(state="cleared")
        Outing.objects.filter(pk=outing.pk).update(state="afloat", launched_at=NOON)

        with refused_by(self.rule):
            a_signature(rows)

        Outing.objects.filter(pk=outing.pk).update(state="ashore", ashore_at=NOON)
        assert a_signature(rows).turn == 1


@pytest.mark.parametrize("model", KEPT, ids=lambda model: model._meta.db_table)
class TestAppendOnly:
    def test_it_is_neither_changed_nor_deleted(self, rows: Rows, model: type[models.Model]) -> None:
        row = KEPT[model](rows)
        table = model._meta.db_table

        with refused_by(f"{table}_append_only"):
            model._default_manager.filter(pk=row.pk).update(id=row.pk)
        with refused_by(f"{table}_append_only"), connection.cursor() as cursor:
            cursor.execute(f"DELETE FROM {table}")  # noqa: S608 - a table of ours

    def test_it_is_not_truncated(self, rows: Rows, model: type[models.Model]) -> None:
        KEPT[model](rows)
        connection.check_constraints()
        table = model._meta.db_table
        # SQLite has no TRUNCATE; emptying a table is a DELETE there.
        command, rule = {
            "sqlite": (f"DELETE FROM {table}", f"{table}_append_only"),  # noqa: S608
            "postgresql": (f"TRUNCATE {table} CASCADE", f"{table}_append_only_truncate"),
        }[connection.vendor]

        with refused_by(rule), connection.cursor() as cursor:
            cursor.execute(command)


def test_every_constraint_is_tried_here_and_stands_in_the_database(db: None) -> None:
    tried = {name for name, *_ in CHECKS} | {name for name, *_ in TWINS} | BY_A_RULE_FIRST
    declared: set[str] = set()
    there: set[str] = set()
    for model in KEPT:
        with connection.cursor() as cursor:
            found = connection.introspection.get_constraints(cursor, model._meta.db_table)
        for constraint in model._meta.constraints:
            declared.add(constraint.name)
            kind = "check" if isinstance(constraint, CheckConstraint) else "unique"
            if constraint.name in found and dict(found[constraint.name]).get(kind):
                there.add(constraint.name)

    assert tried == declared == there


def test_every_rule_is_tried_here() -> None:
    tried = {each.rule for each in globals().values() if hasattr(each, "rule")}
    tried |= {f"{model._meta.db_table}_append_only{end}" for model in KEPT for end in ("", "_truncate")}
    ours = {rule.name for rule in laid() if rule.name.startswith(("incident_", "incidents_", "closing_"))}

    assert tried == ours
