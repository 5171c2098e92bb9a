"""Problems and plans as JSON values: self-describing, lengths in cm, times ISO 8601 with offset."""

from collections.abc import Callable
from dataclasses import MISSING, asdict, fields
from datetime import datetime, timedelta
from enum import StrEnum
from types import NoneType, UnionType
from typing import Any, Final, TypeVar, get_args, get_origin, get_type_hints

from rigging.allot.jsonnode import Node
from rigging.allot.plan import Assignment, Plan, Rig, Score, Unserved
from rigging.allot.problem import (
    Crew,
    Demand,
    Hold,
    Priority,
    Problem,
    Standing,
    Stock,
    Unit,
    Window,
    validate,
)
from rigging.kit import Board, Boom, Extension, Mast, Sail
from rigging.reason import Input, Reason
from rigging.units import BadValue

Json = dict[str, Any]
T = TypeVar("T")

HOURS_MOST: Final = 1e6
"""Most water hours on a unit. Status: policy."""

BIGGEST: Final = 1e15
"""Limit of a value or bound in a plan. Status: policy."""


def to_problem(data: object) -> Problem:
    """The problem that a JSON value states.

    Raises:
        BadValue: named by the path of the field, such as `demands[12].mass_kg`.
    """
    top = Node("", data)
    origin = top.take("day").time()
    problem = Problem(
        station=top.take("station").text(),
        origin=origin,
        turn_round_min=top.take("turn_round_min").whole(),
        crew=_crew(top.take("crew", {}), origin),
        sails=top.take("sails").each(_stock_of(Sail)),
        masts=top.take("masts").each(_stock_of(Mast)),
        booms=top.take("booms").each(_stock_of(Boom)),
        extensions=top.take("extensions").each(_stock_of(Extension)),
        boards=top.take("boards").each(_stock_of(Board)),
        demands=top.take("demands").each(lambda node: _demand(node, origin)),
        frozen=top.take("frozen", []).each(lambda node: _hold(node, origin)),
        standing=top.take("standing", []).each(_standing),
    )
    top.done()
    return validate(problem)


def _stock_of(kind: type[T]) -> Callable[[Node], Any]:
    hints = get_type_hints(kind)

    def read(node: Node) -> Any:
        given = [f for f in fields(kind) if node.has(f.name) or f.name == "name" or _required(f)]  # type: ignore[arg-type]
        values = {f.name: _field(node.take(f.name), hints[f.name]) for f in given}
        try:
            spec = kind(**values)
        except BadValue as bad:
            raise BadValue(f"{node.path}.{bad.name}", bad.value, bad.unit, bad.allowed) from None
        units = _units(node.take("units"), spec.name)  # type: ignore[attr-defined]
        node.done()
        return Stock(spec, units)

    return read


def _required(f: Any) -> bool:
    return f.default is MISSING and f.default_factory is MISSING


def _field(node: Node, hint: Any) -> Any:
    if isinstance(hint, UnionType):
        hint = next(arg for arg in get_args(hint) if arg is not NoneType)
    if get_origin(hint) is frozenset:
        (kind,) = get_args(hint)
        return frozenset(node.each(lambda item: item.one_of(kind)))
    if hint is bool:
        return node.flag()
    if hint is str:
        return node.text()
    if issubclass(hint, StrEnum):
        return node.one_of(hint)
    return node.whole() if hint is int else node.number()


def _units(node: Node, name: str) -> tuple[Unit, ...]:
    if isinstance(node.value, list):
        return node.each(_unit)
    return tuple(Unit(f"{name} #{n}") for n in range(1, node.whole() + 1))


def _unit(node: Node) -> Unit:
    unit = Unit(node.take("tag").text(), node.take("wear_h", 0.0).number(0.0, HOURS_MOST))
    node.done()
    return unit


def _crew(node: Node, origin: datetime) -> Crew:
    rig_min = node.take("rig_min", Crew().rig_min).whole()
    windows = node.take("windows").each(lambda at: _window(at, origin)) if node.has("windows") else None
    crew = Crew(rig_min, windows)
    node.done()
    return crew


def _window(node: Node, origin: datetime) -> Window:
    window = Window(
        node.take("start").minute(origin), node.take("end").minute(origin), node.take("hands").whole()
    )
    node.done()
    return window


def _demand(node: Node, origin: datetime) -> Demand:
    demand = Demand(
        id=node.take("id").text(),
        start_min=node.take("start").minute(origin),
        end_min=node.take("end").minute(origin),
        priority=node.take("priority").one_of(Priority),
        mass_kg=node.take("mass_kg").number(),
        sails=node.take("sails").losses(),
        boards=node.take("boards").losses(),
        group=node.take("group").text() if node.has("group") else None,
        promised=_promised(node.take("promised")) if node.has("promised") else None,
        firm=node.take("firm", False).flag(),
    )
    node.done()
    return demand


def _promised(node: Node) -> tuple[str, str]:
    names = (node.take("sail").text(), node.take("board").text())
    node.done()
    return names


def _hold(node: Node, origin: datetime) -> Hold:
    hold = Hold(
        tag=node.take("tag").text(),
        start_min=node.take("start").minute(origin),
        end_min=node.take("end").minute(origin),
        demand=node.take("demand").text() if node.has("demand") else None,
        why=node.take("why").text() if node.has("why") else "",
    )
    node.done()
    return hold


def _standing(node: Node) -> Standing:
    rig = Standing(*(node.take(part).text() for part in ("sail", "mast", "extension", "boom")))
    node.done()
    return rig


def from_problem(problem: Problem) -> Json:
    """The JSON form of a problem; `to_problem` reads it back to an equal one."""
    at = _clock(problem.origin)
    return {
        "station": problem.station,
        "day": problem.origin.isoformat(),
        "turn_round_min": problem.turn_round_min,
        "crew": {
            "rig_min": problem.crew.rig_min,
            "windows": None
            if problem.crew.windows is None
            else [
                {"start": at(w.start_min), "end": at(w.end_min), "hands": w.hands}
                for w in problem.crew.windows
            ],
        },
        **{kind: [_from_stock(stock) for stock in stocks] for kind, stocks in problem.stocks()},
        "demands": [_spanned(demand, at) for demand in problem.demands],
        "frozen": [_spanned(hold, at) for hold in problem.frozen],
        "standing": [asdict(rig) for rig in problem.standing],
    }


def _clock(origin: datetime) -> Callable[[int], str]:
    return lambda minute: (origin + timedelta(minutes=minute)).isoformat()


def _from_stock(stock: Any) -> Json:
    spec = {f.name: _plain(getattr(stock.spec, f.name)) for f in fields(stock.spec)}
    return {k: v for k, v in spec.items() if v is not None} | {
        "units": [asdict(unit) for unit in stock.units]
    }


def _plain(value: Any) -> Any:
    if isinstance(value, frozenset):
        return sorted(str(item) for item in value)
    return str(value) if isinstance(value, StrEnum) else value


def _spanned(thing: Demand | Hold, at: Callable[[int], str]) -> Json:
    values = {f.name: getattr(thing, f.name) for f in fields(thing)}
    start, end = at(values.pop("start_min")), at(values.pop("end_min"))
    out = {name: _plain(value) for name, value in values.items() if value not in (None, "")}
    if isinstance(thing, Demand):
        out |= {"sails": dict(thing.sails), "boards": dict(thing.boards)}
        if thing.promised:
            out["promised"] = dict(zip(("sail", "board"), thing.promised, strict=True))
    return {"start": start, "end": end} | out


def from_plan(plan: Plan, problem: Problem) -> Json:
    """The JSON form of a plan for the problem."""
    at = _clock(problem.origin)
    return {
        "station": problem.station,
        "day": problem.origin.isoformat(),
        "score": asdict(plan.score),
        "bound": plan.bound,
        "gap": plan.gap,
        "points_open": plan.points_open,
        "proven": plan.proven,
        "method": plan.method,
        "assignments": [asdict(assignment) for assignment in plan.assignments],
        "rigs": [_from_rig(rig, at) for rig in plan.rigs],
        "rig_up": [rig.id for rig in plan.rig_up()],
        "unserved": [asdict(short) for short in plan.unserved],
    }


def _from_rig(rig: Rig, at: Callable[[int], str]) -> Json:
    return {
        "id": rig.id,
        "sail": rig.sail,
        "mast": rig.mast,
        "extension": rig.extension,
        "boom": rig.boom,
        "stood": rig.stood,
        "ready": None if rig.ready_min is None else at(rig.ready_min),
        "until": None if rig.until_min is None else at(rig.until_min),
        "needed": None if rig.needed_min is None else at(rig.needed_min),
        "built": None if rig.built_min is None else [at(minute) for minute in rig.built_min],
        "hand": rig.hand,
    }


def to_plan(data: object, problem: Problem) -> Plan:
    """The plan that a JSON value states, for the problem.

    Raises:
        BadValue: named by the path of the field.
    """
    top = Node("", data)
    score = top.take("score")
    return Plan(
        assignments=top.take("assignments").each(_assignment),
        rigs=top.take("rigs").each(lambda node: _to_rig(node, problem.origin)),
        unserved=top.take("unserved").each(_to_unserved),
        score=Score(
            **{f.name: score.take(f.name).whole() for f in fields(Score) if f.name != "value"},
            value=score.take("value").number(0.0, BIGGEST),
        ),
        bound=top.take("bound").number(-BIGGEST, BIGGEST),
        gap=top.take("gap").number(),
        points_open=top.take("points_open").whole(),
        proven=top.take("proven").flag(),
        method=top.take("method").text(),
    )


def _assignment(node: Node) -> Assignment:
    return Assignment(
        demand=node.take("demand").text(),
        sail=node.take("sail").text(),
        board=node.take("board").text(),
        rig=node.take("rig").text(),
        mismatch=node.take("mismatch").whole(),
        change=node.take("change").whole(),
        issued=node.take("issued").flag(),
    )


def _to_rig(node: Node, origin: datetime) -> Rig:
    built = node.take("built").each(lambda at: at.minute(origin)) if node.has("built") else None
    if built is not None and len(built) != len(("start", "end")):
        raise node.take("built").refuse("a start and an end")

    def minute(key: str) -> int | None:
        return node.take(key).minute(origin) if node.has(key) else None

    return Rig(
        id=node.take("id").text(),
        sail=node.take("sail").text(),
        mast=node.take("mast").text(),
        extension=node.take("extension").text(),
        boom=node.take("boom").text(),
        stood=node.take("stood").flag(),
        ready_min=minute("ready"),
        until_min=minute("until"),
        needed_min=minute("needed"),
        built_min=None if built is None else (built[0], built[1]),
        hand=node.take("hand").whole() if node.has("hand") else None,
    )


def _to_unserved(node: Node) -> Unserved:
    reason = node.take("reason")
    inputs = reason.take("inputs").each(
        lambda i: Input(i.take("name").text(), i.take("value").value, str(i.take("unit", "").value))  # type: ignore[arg-type]
    )
    text, rule, source = (reason.take(key).text() for key in ("text", "rule", "source"))
    return Unserved(
        demand=node.take("demand").text(),
        reason=Reason(text, rule, source, inputs),
        remedy=node.take("remedy").text() if node.has("remedy") else None,
    )
