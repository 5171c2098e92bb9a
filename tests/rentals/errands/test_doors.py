"""Who gets through: every service of errands, by role, at the own and at another station."""

import ast
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest

from rentals.errands import services
from rentals.errands.models import ErrandKind
from rentals.lib.access import NOBODY, System, service
from rentals.lib.problems import NotAllowed, NotVisible
from tests.rentals.errands.under_way import underway, wanted
from tests.rentals.walk import Walk

Call = Callable[..., object]
MAY = {
    ErrandKind.TAKE_SHED: "--M",
    ErrandKind.GIVE_ENTRIES: "D-M",
    ErrandKind.LOAD_DEMO: "--M",
    ErrandKind.REMOVE_DEMO: "--M",
}
CASES = [(kind, role, role in may) for kind, may in MAY.items() for role in "DIM"]
BY_ITSELF: dict[str, Callable[[Walk], Call]] = {
    "take": lambda cast: lambda actor: services.take(actor=actor, kind=ErrandKind.LOAD_DEMO, now=cast.now),
    "beat": lambda cast: _taken(cast, services.beat, progress=1, words="Begun."),
    "fail": lambda cast: _taken(cast, services.fail, why="It broke."),
}


def _taken(cast: Walk, call: Call, **values: object) -> Call:
    taken = underway(cast, ErrandKind.LOAD_DEMO)
    return lambda actor: call(actor=actor, taken=taken, now=cast.now, **values)


def _actor(cast: Walk, role: str) -> object:
    return {"D": cast.ida, "I": cast.jory, "M": cast.boss}[role]


def test_every_service_that_writes_has_a_door_here() -> None:
    tree = ast.parse(Path(services.__file__).read_text())
    writing = {
        node.name
        for node in tree.body
        if isinstance(node, ast.FunctionDef)
        and "write" in {ast.unparse(each) for each in node.decorator_list}
    }

    assert writing == {"ask_for", "call_off", *BY_ITSELF}


@pytest.mark.parametrize(("kind", "role", "may"), CASES)
def test_a_role_asks_for_what_it_may_do(cast: Walk, kind: ErrandKind, role: str, may: bool) -> None:
    def ask() -> object:
        actor = _actor(cast, role)
        return services.ask_for(
            actor=actor,  # type: ignore[arg-type]  # one of three
            station_id=cast.tarrow.pk,
            kind=kind,
            asked={},
            now=cast.now,
        )

    if may:
        assert ask()
    else:
        with pytest.raises(NotAllowed, match="Ask a colleague who is"):
            ask()


@pytest.mark.parametrize(("role", "may"), [("D", False), ("I", False), ("M", True)])
def test_a_role_calls_off_what_it_may_ask_for(cast: Walk, role: str, may: bool) -> None:
    errand = wanted(cast, ErrandKind.TAKE_SHED)

    def call_off() -> object:
        actor = _actor(cast, role)
        return services.call_off(actor=actor, errand_id=errand.pk, now=cast.now)  # type: ignore[arg-type]

    if may:
        assert call_off()
    else:
        with pytest.raises(NotAllowed, match="Ask a colleague who is"):
            call_off()


@pytest.mark.parametrize("who", ["rhys", "nobody"])
def test_from_elsewhere_there_is_nothing_here(cast: Walk, who: str, now: datetime) -> None:
    errand = wanted(cast, ErrandKind.TAKE_SHED)
    actor = NOBODY if who == "nobody" else cast.rhys

    with pytest.raises(NotVisible):
        services.call_off(actor=actor, errand_id=errand.pk, now=now)
    with pytest.raises(NotVisible):
        services.ask_for(actor=actor, station_id=cast.tarrow.pk, kind=ErrandKind.LOAD_DEMO, asked={}, now=now)


@pytest.mark.parametrize("name", BY_ITSELF)
def test_what_the_service_does_by_itself_no_person_does(cast: Walk, name: str) -> None:
    call = BY_ITSELF[name](cast)

    for actor in (cast.boss, cast.jory, NOBODY, service(System.SOLVE)):
        with pytest.raises(NotAllowed):
            call(actor)
