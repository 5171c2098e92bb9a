"""Who gets through: every service of the day plan, by role, at the own and at another station."""

import ast
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from rentals.audit.models import Entry
from rentals.dayplan import services
from rentals.dayplan.models import Study
from rentals.lib.access import NOBODY, Actor, System, service
from rentals.lib.problems import NotAllowed, NotVisible
from rigging.allot.jsonform import to_problem
from rigging.allot.lacks import Lacks
from rigging.allot.solve import solve
from tests.rentals.dayplan.day import WORKER, Day, asked, booked, rigs
from tests.rentals.test_doors import ROLES

Call = Callable[..., Any]


def ask(day: Day) -> Call:
    day.two()
    return lambda actor: day.ask(actor)


def adjust(day: Day) -> Call:
    (outing, _), plan = day.two(), day.solved()
    return lambda actor: services.adjust_plan(
        actor=actor, plan_id=plan.pk, outing_id=outing.pk, sail="Samphire 5.0", now=day.cast.now
    )


def cancel(day: Day) -> Call:
    day.two()
    plan = day.ask()
    return lambda actor: services.cancel_plan(actor=actor, plan_id=plan.pk, now=day.cast.now)


def accept(day: Day) -> Call:
    day.two()
    plan = day.solved()
    return lambda actor: day.accept(plan, actor)


def tick(day: Day) -> Call:
    day.two()
    task = rigs(day.accepted())[0]
    return lambda actor: services.tick_rig(actor=actor, task_id=task.pk, ticked=True, now=day.cast.now)


def book(day: Day) -> Call:
    day.cast.blow()
    assert day.cast.shed
    promise, rider = asked(day), day.reed()
    return lambda actor: booked(day, promise, actor=actor, riders=[rider.pk])


def ask_study(day: Day) -> Call:
    day.two()
    assert day.solved()
    today = day.cast.now.date()
    return lambda actor: services.ask_for_study(
        actor=actor, station_id=day.cast.tarrow.pk, first_day=today, last_day=today, now=day.cast.now
    )


def study(day: Day) -> Study:
    kept: Study = ask_study(day)(day.cast.boss)
    return kept


def cancel_study(day: Day) -> Call:
    study_id = study(day).pk
    return lambda actor: services.cancel_study(actor=actor, study_id=study_id, now=day.cast.now)


def crew(day: Day) -> Call:
    facts = services.CrewFacts(hands=3, rig_min=12, lead_min=45)
    return lambda actor: services.set_crew(
        actor=actor, station_id=day.cast.tarrow.pk, facts=facts, now=day.cast.now
    )


DOORS = {
    "ask_for_plan": (ask, "IM"),
    "adjust_plan": (adjust, "IM"),
    "cancel_plan": (cancel, "IM"),
    "accept_plan": (accept, "IM"),
    "book_promised": (book, "DM"),
    "tick_rig": (tick, "DIM"),
    "ask_for_study": (ask_study, "M"),
    "cancel_study": (cancel_study, "M"),
    "set_crew": (crew, "M"),
}


def errand(day: Day) -> services.Errand:
    day.two()
    assert day.ask()
    taken = services.take_plan(actor=WORKER, now=day.cast.now)
    assert taken is not None
    return taken


def finish(day: Day) -> Call:
    taken = errand(day)
    problem = to_problem(taken.inputs)
    return partial(
        services.finish_plan,
        errand=taken,
        problem=problem,
        solved=solve(problem),
        seconds=0.1,
        now=day.cast.now,
    )


def a_slice(day: Day) -> dict[str, Any]:
    assert study(day)
    taken = services.take_slice(actor=WORKER, now=day.cast.now)
    return {"taken": taken, "looks": {}, "gains": {}}


def study_at_hand(day: Day) -> Call:
    assert study(day)
    return partial(services.take_slice, now=day.cast.now)


BY_ITSELF: dict[str, Callable[[Day], Call]] = {
    "take_plan": lambda day: partial(services.take_plan, now=day.cast.now),
    "beat": lambda day: partial(
        services.beat, errand=errand(day), progress=10, words="Solving.", now=day.cast.now
    ),
    "finish_plan": finish,
    "fail_plan": lambda day: partial(
        services.fail_plan, errand=errand(day), why="It cannot be read.", now=day.cast.now
    ),
    "take_slice": study_at_hand,
    "keep_slice": lambda day: partial(services.keep_slice, **a_slice(day), progress=10, words="Looking."),
    "finish_study": lambda day: partial(
        services.finish_study, **a_slice(day), found=Lacks(purchases=(), others_points=0), now=day.cast.now
    ),
    "fail_study": lambda day: partial(
        services.fail_study, taken=a_slice(day)["taken"], why="A day cannot be read.", now=day.cast.now
    ),
}


def test_every_service_that_writes_has_a_door_here() -> None:
    writing = {
        node.name
        for path in Path(services.__file__).parent.glob("*.py")
        for node in ast.parse(path.read_text()).body
        if isinstance(node, ast.FunctionDef)
        if "write" in {ast.unparse(each) for each in node.decorator_list}
    }

    assert writing == DOORS.keys() | BY_ITSELF.keys()


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("name", DOORS)
def test_a_role_gets_through_where_it_may(day: Day, name: str, role: str) -> None:
    door, may = DOORS[name]
    call, actor = door(day), ROLES[role](day.cast)
    before = Entry.objects.count()

    if role in may:
        call(actor)
        assert Entry.objects.count() > before
    else:
        with pytest.raises(NotAllowed, match="Ask a colleague who is"):
            call(actor)
        assert Entry.objects.count() == before


@pytest.mark.parametrize("name", DOORS)
def test_from_elsewhere_there_is_nothing_here(day: Day, name: str) -> None:
    call = DOORS[name][0](day)
    before = Entry.objects.count()
    strangers: list[Actor] = [day.cast.rhys, day.cast.actor(day.cast.stranger), NOBODY, service(*System)]

    for actor in strangers:
        with pytest.raises(NotVisible):
            call(actor)

    assert Entry.objects.count() == before


@pytest.mark.parametrize("name", BY_ITSELF)
def test_what_the_service_does_by_itself_no_person_does(day: Day, name: str) -> None:
    call = BY_ITSELF[name](day)

    for actor in (day.cast.boss, day.cast.rhys, NOBODY, service(*(set(System) - {System.SOLVE}))):
        with pytest.raises(NotAllowed, match="Only the service itself"):
            call(actor=actor)
