"""Where a write begins: one transaction, rolled back when nobody asked who may, never one inside another."""

import pytest
from django.db import DatabaseError

from rentals.lib.access import Act, Actor, Role
from rentals.lib.problems import NotAllowed, Refused
from rentals.lib.writes import PermissionNotAsked, inside_write, savepoint, write
from rentals.people.models import User

STATION = 1
DESK = Actor(user_id=None, name="Ida Fennick", roles={STATION: frozenset({Role.DESK})})

pytestmark = pytest.mark.django_db


def names() -> set[str]:
    return set(User.objects.values_list("username", flat=True))


@inside_write
def keep(name: str) -> None:
    User.objects.create(username=name)


@write
def hire(name: str) -> str:
    DESK.require(Act.BOOK, station_id=STATION)
    keep(name)
    return name


@write
def hire_unasked(name: str) -> None:
    keep(name)


@write
def hire_and_refuse(name: str, act: Act) -> None:
    keep(name)
    DESK.require(act, station_id=STATION)
    raise Refused("The house is full.")


@write
def hire_twice(name: str) -> None:
    hire(name)


@write
def hire_all(names: list[str]) -> int:
    DESK.require(Act.BOOK, station_id=STATION)
    kept = 0
    for name in names:
        try:
            with savepoint():
                keep(name)
        except DatabaseError:
            continue
        kept += 1
    return kept


def test_a_write_that_asked_keeps_its_rows_and_returns_its_result() -> None:
    assert hire("ida") == "ida"
    assert names() == {"ida"}


def test_a_write_that_never_asked_is_rolled_back_and_named() -> None:
    with pytest.raises(PermissionNotAsked, match="hire_unasked"):
        hire_unasked("ida")

    assert names() == set()


def test_an_earlier_write_that_asked_does_not_count_for_the_next() -> None:
    hire("ida")

    with pytest.raises(PermissionNotAsked):
        hire_unasked("jory")


@pytest.mark.parametrize(("act", "refusal"), [(Act.BOOK, Refused), (Act.WITHDRAW, NotAllowed)])
def test_a_refusal_takes_back_what_was_written_before_it(act: Act, refusal: type[Refused]) -> None:
    with pytest.raises(refusal):
        hire_and_refuse("ida", act)

    assert names() == set()


def test_a_write_refuses_to_run_inside_another() -> None:
    with pytest.raises(RuntimeError, match="durable"):
        hire_twice("ida")

    assert names() == set()


def test_a_savepoint_loses_only_what_failed() -> None:
    assert hire_all(["ida", "ida", "jory"]) == 2
    assert names() == {"ida", "jory"}
