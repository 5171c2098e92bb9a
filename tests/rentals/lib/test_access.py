"""Who may do what: one table of acts, roles and stations, and what a refusal looks like from outside."""

import pytest

from rentals.lib.access import MAY, NOBODY, Act, Actor, Role, System, service
from rentals.lib.problems import NotAllowed, NotVisible

OWN, OTHER = 1, 2

TABLE = {
    # act: (desk, instructor, manager)
    Act.LOOK: (True, True, True),
    Act.BOOK: (True, False, True),
    Act.CANCEL: (True, False, True),
    Act.WAIVE_FEE: (False, False, True),
    Act.SET_PRICES: (False, False, True),
    Act.CHARGE: (True, False, True),
    Act.TAKE_PAYMENT: (True, False, True),
    Act.GIVE_CREDIT: (True, False, True),
    Act.REFUND: (False, False, True),
    Act.CLOSE_DAY: (False, False, True),
    Act.EDIT_RIDER: (True, True, True),
    Act.ASSIGN_KIT: (True, True, True),
    Act.ISSUE: (True, True, True),
    Act.CHECK_LAUNCH: (False, True, True),
    Act.LAUNCH: (False, True, True),
    Act.CALL_ASHORE: (True, True, True),
    Act.TAKE_BACK: (True, True, True),
    Act.REPORT_FAULT: (True, True, True),
    Act.MEND: (False, True, True),
    Act.RELEASE: (False, True, True),
    Act.WITHDRAW: (False, False, True),
    Act.ENTER_WEATHER: (False, True, True),
    Act.SET_STATION: (False, False, True),
    Act.PLAN_DAY: (False, True, True),
    Act.ACCEPT_PLAN: (False, True, True),
    Act.RIG_UP: (True, True, True),
    Act.SEE_LIFE: (False, True, True),
    Act.REVIEW: (False, False, True),
    Act.SET_COSTS: (False, False, True),
    Act.REPORT_INCIDENT: (True, True, True),
    Act.FOLLOW_INCIDENT: (True, True, True),
    Act.CLOSE_INCIDENT: (False, False, True),
    Act.SIGN_CLOSING: (False, True, True),
    Act.NOTE_CALL: (True, True, True),
    Act.EDIT_LISTS: (False, False, True),
    Act.ACKNOWLEDGE: (True, True, True),
    Act.SEE: (True, True, True),
    Act.COUNT_HEADS: (True, True, True),
    Act.EXTEND: (False, True, True),
    Act.SWAP_KIT: (True, True, True),
    Act.RECALL: (True, True, True),
    Act.LIFT_RECALL: (False, True, True),
    Act.PLAN_LESSON: (True, True, True),
    Act.ENROL: (True, True, True),
    Act.MOVE_LESSON: (True, True, True),
    Act.TEACH: (False, True, True),
    Act.RAISE_LEVEL: (False, True, True),
    Act.SET_ROSTER: (False, False, True),
    Act.MAKE_FEED: (True, True, True),
    Act.INSPECT: (False, True, True),
    Act.EDIT_SHED: (False, False, True),
    Act.RECALL_KIT: (False, True, True),
    Act.END_RECALL: (False, False, True),
    Act.RELEASE_HELD: (False, True, True),
    Act.STUDY_SHED: (False, False, True),
    Act.OPEN_FRONT: (False, False, True),
    Act.ERASE: (False, False, True),
}
CASES = [
    pytest.param(act, role, allowed, id=f"{role} may{'' if allowed else ' not'} {act}")
    for act, row in TABLE.items()
    for role, allowed in zip((Role.DESK, Role.INSTRUCTOR, Role.MANAGER), row, strict=True)
]


def posted(*roles: Role) -> Actor:
    return Actor(user_id=7, name="Ida Fennick", roles={OWN: frozenset(roles)})


def test_the_table_here_speaks_of_every_act() -> None:
    assert set(TABLE) == set(Act) == set(MAY)


@pytest.mark.parametrize(("act", "role", "allowed"), CASES)
def test_a_role_may_at_its_own_station_what_the_table_says(act: Act, role: Role, allowed: bool) -> None:
    actor = posted(role)

    assert actor.may(act, station_id=OWN) is allowed
    if allowed:
        actor.require(act, station_id=OWN)
    else:
        with pytest.raises(NotAllowed) as refusal:
            actor.require(act, station_id=OWN)
        assert refusal.value.status == 403


@pytest.mark.parametrize("role", Role)
@pytest.mark.parametrize("act", Act)
def test_another_station_looks_as_if_it_did_not_exist(act: Act, role: Role) -> None:
    actor = posted(role)

    assert not actor.may(act, station_id=OTHER)
    with pytest.raises(NotVisible) as refusal:
        actor.require(act, station_id=OTHER)
    assert refusal.value.status == 404


def test_two_roles_at_a_station_add_up() -> None:
    actor = posted(Role.DESK, Role.INSTRUCTOR)

    assert actor.may(Act.BOOK, station_id=OWN)
    assert actor.may(Act.LAUNCH, station_id=OWN)
    assert not actor.may(Act.WITHDRAW, station_id=OWN)


def test_a_refusal_names_the_act_and_who_may() -> None:
    with pytest.raises(NotAllowed, match=r"let a rider go afloat.*instructor or manager"):
        posted(Role.DESK).require(Act.LAUNCH, station_id=OWN)


def test_nobody_sees_nothing() -> None:
    with pytest.raises(NotVisible):
        NOBODY.require(Act.LOOK, station_id=OWN)


@pytest.mark.parametrize("act", System)
def test_a_person_may_nothing_that_the_service_does_by_itself(act: System) -> None:
    with pytest.raises(NotAllowed):
        posted(*Role).require_system(act)


def test_a_background_job_may_only_the_acts_it_was_made_for() -> None:
    watch = service(System.WATCH)

    watch.require_system(System.WATCH)
    with pytest.raises(NotAllowed):
        watch.require_system(System.SEND)


def test_a_background_job_has_no_role_at_any_station() -> None:
    with pytest.raises(NotVisible):
        service(*System).require(Act.LOOK, station_id=OWN)
