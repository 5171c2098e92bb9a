"""Who gets through: every service of incidents, by role, at the own and at another station."""

import ast
from collections.abc import Callable
from pathlib import Path

import pytest

from rentals.audit.models import Entry
from rentals.incidents import services
from rentals.lib.access import NOBODY, System, service
from rentals.lib.problems import NotAllowed, NotVisible
from tests.rentals.incidents.tell import opened_again, reported, signed, told
from tests.rentals.test_doors import ROLES
from tests.rentals.walk import Walk

Call = Callable[..., object]


def report(cast: Walk) -> Call:
    return lambda actor: services.report_incident(
        actor=actor, station_id=cast.tarrow.pk, told=told(cast), now=cast.now
    )


def correct(cast: Walk) -> Call:
    incident = reported(cast)
    return lambda actor: services.correct_incident(
        actor=actor, incident_id=incident.pk, told=told(cast, kind="loss"), why="Gone", now=cast.now
    )


def follow(cast: Walk) -> Call:
    incident = reported(cast)
    return lambda actor: services.follow_up(
        actor=actor, incident_id=incident.pk, words="Rang the rider", now=cast.now
    )


def close(cast: Walk) -> Call:
    incident = reported(cast)
    return lambda actor: services.close_incident(
        actor=actor, incident_id=incident.pk, words="New clamps", now=cast.now
    )


def reopen(cast: Walk) -> Call:
    incident = reported(cast)
    services.close_incident(actor=cast.boss, incident_id=incident.pk, words="New clamps", now=cast.now)
    return lambda actor: services.reopen_incident(
        actor=actor, incident_id=incident.pk, words="Again", now=cast.now
    )


def sign(cast: Walk) -> Call:
    return lambda actor: signed(cast, actor=actor)


def open_again(cast: Walk) -> Call:
    signed(cast)
    return lambda actor: opened_again(cast, actor=actor)


def call(cast: Walk) -> Call:
    outing = cast.out()
    return lambda actor: services.note_call(
        actor=actor, outing_id=outing.pk, whom="Rescue service", now=cast.now
    )


DOORS: dict[str, tuple[Callable[[Walk], Call], str]] = {
    "report_incident": (report, "DIM"),
    "correct_incident": (correct, "DIM"),
    "follow_up": (follow, "DIM"),
    "close_incident": (close, "M"),
    "reopen_incident": (reopen, "M"),
    "sign_day": (sign, "IM"),
    "note_call": (call, "DIM"),
    "reopen_day": (open_again, "IM"),
}


def test_every_service_that_writes_has_a_door_here() -> None:
    writing = {
        node.name
        for path in Path(services.__file__).parent.glob("*.py")
        for node in ast.parse(path.read_text()).body
        if isinstance(node, ast.FunctionDef)
        if "write" in {ast.unparse(each) for each in node.decorator_list}
    }

    assert writing == DOORS.keys()


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("name", DOORS)
def test_a_role_gets_through_where_it_may(cast: Walk, name: str, role: str) -> None:
    door, may = DOORS[name]
    call, actor = door(cast), ROLES[role](cast)
    before = Entry.objects.count()

    if role in may:
        call(actor)
        assert Entry.objects.count() > before
    else:
        with pytest.raises(NotAllowed, match="Ask a colleague who is"):
            call(actor)
        assert Entry.objects.count() == before


@pytest.mark.parametrize("name", DOORS)
def test_from_elsewhere_there_is_nothing_here(cast: Walk, name: str) -> None:
    call = DOORS[name][0](cast)
    before = Entry.objects.count()

    for actor in (cast.rhys, cast.actor(cast.stranger), NOBODY, service(*System)):
        with pytest.raises(NotVisible):
            call(actor)

    assert Entry.objects.count() == before
