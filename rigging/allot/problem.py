"""The problem of the day: who wants to sail when, what the shed holds, and when the crew can build."""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from itertools import pairwise
from types import MappingProxyType
from typing import Final, Generic, TypeVar

from rigging.kit import Board, Boom, Extension, Mast, Sail
from rigging.units import BadValue, in_range

Spec = TypeVar("Spec", Sail, Mast, Boom, Extension, Board, covariant=True)


class Priority(StrEnum):
    """What a rider was promised."""

    LESSON = "lesson"
    PREBOOKED = "prebooked"
    WALK_IN = "walk_in"


POINTS: Final[Mapping[Priority, int]] = MappingProxyType(
    {Priority.LESSON: 10, Priority.PREBOOKED: 5, Priority.WALK_IN: 2}
)
"""Worth of serving one rider, in points. Status: policy (a lesson outweighs two booked riders)."""

FIRM_POINTS: Final = 20
"""Points on top for a rider who has been promised: twice a lesson's, so that nobody new displaces them.
Status: policy."""

CHANGED_SAIL, CHANGED_BOARD = 100, 50
"""Hundredths that a promise changed costs: a sail's a full loss, so no rider's sail changes for the sake of
one other. Status: policy."""

MISMATCH_STEPS: Final = 100
"""Mismatch is counted in hundredths of a full loss: finer than a wind forecast says. Status: policy."""

DAY_MIN: Final = 2 * 24 * 60
"""Latest minute after the day's origin that a plan may speak of. Status: policy."""

MASS_KG: Final = (20.0, 160.0)
"""Rider masses that the trade's formulas cover. Status: policy."""


@dataclass(frozen=True, slots=True)
class Unit:
    """One physical thing: its tag, and the water hours on it."""

    tag: str
    wear_h: float = 0.0


@dataclass(frozen=True, slots=True)
class Stock(Generic[Spec]):
    """Interchangeable units of one spec."""

    spec: Spec
    units: tuple[Unit, ...]

    @property
    def name(self) -> str:
        return self.spec.name


@dataclass(frozen=True, slots=True)
class Window:
    """A time when `hands` people build rigs, in minutes after the day's origin."""

    start_min: int
    end_min: int
    hands: int


@dataclass(frozen=True, slots=True)
class Crew:
    """Who builds rigs: minutes a rig takes one person, and the windows; None when rigs await the day."""

    rig_min: int = 15
    windows: tuple[Window, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """One rider's wish: a time span, and the loss of each sail and board that safety allows.

    Losses run from 0 (ideal) to 1 by the name of the stock. What is not named is vetoed, and no
    plan ever trades a veto. Riders of one `group` are served together or not at all. `promised` names the
    sail and the board that the rider has been told of; `firm` says that nobody new may displace the rider.
    """

    id: str
    start_min: int
    end_min: int
    priority: Priority
    mass_kg: float
    sails: Mapping[str, float]
    boards: Mapping[str, float]
    group: str | None = None
    promised: tuple[str, str] | None = None
    firm: bool = False

    @property
    def points(self) -> int:
        """Worth of serving the rider."""
        return POINTS[self.priority] + (FIRM_POINTS if self.firm or self.promised else 0)

    def loss(self, sail: str, board: str) -> int:
        """Mismatch of a sail and a board, in hundredths."""
        return hundredths(self.sails[sail]) + hundredths(self.boards[board])

    def change(self, sail: str, board: str) -> int:
        """What a sail and a board that are not the promised ones cost, in hundredths."""
        if self.promised is None:
            return 0
        return CHANGED_SAIL * (sail != self.promised[0]) + CHANGED_BOARD * (board != self.promised[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """A unit that is spoken for: issued to a demand, or kept from use for the reason in `why`."""

    tag: str
    start_min: int
    end_min: int
    demand: str | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Standing:
    """A rig that stands built, by the tags of its parts."""

    sail: str
    mast: str
    extension: str
    boom: str

    @property
    def tags(self) -> tuple[str, str, str, str]:
        return (self.sail, self.mast, self.extension, self.boom)


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One station's day. Minutes count from `origin`, an aware time; holds are frozen."""

    station: str
    origin: datetime
    turn_round_min: int
    crew: Crew
    sails: tuple[Stock[Sail], ...]
    masts: tuple[Stock[Mast], ...]
    booms: tuple[Stock[Boom], ...]
    extensions: tuple[Stock[Extension], ...]
    boards: tuple[Stock[Board], ...]
    demands: tuple[Demand, ...]
    frozen: tuple[Hold, ...] = ()
    standing: tuple[Standing, ...] = field(default=())

    def stocks(self) -> Iterator[tuple[str, tuple["AnyStock", ...]]]:
        """Each kind of stock with its name in the JSON form."""
        yield "sails", self.sails
        yield "masts", self.masts
        yield "booms", self.booms
        yield "extensions", self.extensions
        yield "boards", self.boards

    def tags(self) -> dict[str, tuple[str, int]]:
        """Kind and index of the stock of every unit, by tag."""
        return {
            unit.tag: (kind, index)
            for kind, stocks in self.stocks()
            for index, stock in enumerate(stocks)
            for unit in stock.units
        }


AnyStock = Stock[Sail] | Stock[Mast] | Stock[Boom] | Stock[Extension] | Stock[Board]


def hundredths(loss: float) -> int:
    """A loss in whole hundredths, as the plan counts mismatch."""
    return round(loss * MISMATCH_STEPS)


def validate(problem: Problem) -> Problem:
    """Return the problem when its parts agree with one another.

    Raises:
        BadValue: named by the path of the field, such as `demands[12].mass_kg`.
    """
    in_range("turn_round_min", problem.turn_round_min, "min", 0, DAY_MIN)
    if problem.origin.utcoffset() is None:
        raise BadValue("day", problem.origin, "", "a time with its offset")
    _validate_crew(problem.crew)
    _validate_stocks(problem)
    _validate_demands(problem)
    _validate_standing(problem)
    _validate_holds(problem)
    return problem


def _validate_crew(crew: Crew) -> None:
    in_range("crew.rig_min", crew.rig_min, "min", 1, DAY_MIN)
    end = 0
    for index, window in enumerate(crew.windows or ()):
        path = f"crew.windows[{index}]"
        _validate_span(path, window.start_min, window.end_min)
        in_range(f"{path}.hands", window.hands, "", 0, 1000)
        if window.start_min < end:
            raise BadValue(
                f"{path}.start", window.start_min, "min", "at or after the end of the window before"
            )
        end = window.end_min


def _validate_span(path: str, start_min: int, end_min: int) -> None:
    in_range(f"{path}.start", start_min, "min", 0, DAY_MIN)
    in_range(f"{path}.end", end_min, "min", 0, DAY_MIN)
    if end_min <= start_min:
        raise BadValue(f"{path}.end", end_min, "min", f"after its start at {start_min}")


def _validate_stocks(problem: Problem) -> None:
    seen: set[str] = set()
    for kind, stocks in problem.stocks():
        repeated = [name for name, times in Counter(stock.name for stock in stocks).items() if times > 1]
        if repeated:
            raise BadValue(f"{kind}.name", repeated[0], "", "a name that no other stock of the kind has")
        for index, stock in enumerate(stocks):
            for number, unit in enumerate(stock.units):
                path = f"{kind}[{index}].units[{number}]"
                if unit.tag in seen:
                    raise BadValue(f"{path}.tag", unit.tag, "", "a tag that no other unit has")
                in_range(f"{path}.wear_h", unit.wear_h, "h", 0.0, 1e6)
                seen.add(unit.tag)


def _validate_demands(problem: Problem) -> None:
    known = known_names(problem)
    seen: set[str] = set()
    for index, demand in enumerate(problem.demands):
        if demand.id in seen:
            raise BadValue(f"demands[{index}].id", demand.id, "", "an id that no other demand has")
        seen.add(demand.id)
        validate_demand(f"demands[{index}]", demand, known)


def known_names(problem: Problem) -> dict[str, set[str]]:
    """Names of the stocks of each kind."""
    return {kind: {stock.name for stock in stocks} for kind, stocks in problem.stocks()}


def validate_demand(path: str, demand: Demand, known: Mapping[str, set[str]]) -> None:
    """Refuse a demand that is wrong in itself or wishes for what the shed doesn't know.

    Raises:
        BadValue: named by the field under `path`.
    """
    _validate_span(path, demand.start_min, demand.end_min)
    in_range(f"{path}.mass_kg", demand.mass_kg, "kg", *MASS_KG)
    if demand.promised is not None:
        _validate_promise(path, demand.promised, known)
    for kind, wishes in (("sails", demand.sails), ("boards", demand.boards)):
        for name, loss in wishes.items():
            if name not in known[kind]:
                raise BadValue(f"{path}.{kind}.{name}", name, "", f"the name of one of the {kind}")
            # A day has tens of thousands of losses: only what is not plainly right is looked at closely.
            if type(loss) is not float or not 0.0 <= loss <= 1.0:
                in_range(f"{path}.{kind}.{name}", loss, "", 0.0, 1.0)


def _validate_promise(path: str, promised: tuple[str, str], known: Mapping[str, set[str]]) -> None:
    for kind, name in zip(("sails", "boards"), promised, strict=True):
        if name not in known[kind]:
            part = kind.removesuffix("s")
            raise BadValue(f"{path}.promised.{part}", name, "", f"the name of one of the {kind}")


def _validate_standing(problem: Problem) -> None:
    tags = problem.tags()
    seen: set[str] = set()
    for index, rig in enumerate(problem.standing):
        for part in ("sail", "mast", "extension", "boom"):
            tag = getattr(rig, part)
            path = f"standing[{index}].{part}"
            if tags.get(tag, ("", 0))[0] != f"{part}s":
                raise BadValue(path, tag, "", f"the tag of one of the {part}s")
            if tag in seen:
                raise BadValue(path, tag, "", "a tag that stands in no other rig")
            seen.add(tag)


def _validate_holds(problem: Problem) -> None:
    tags = problem.tags()
    demands = {demand.id for demand in problem.demands}
    parts = {tag for rig in problem.standing for tag in (rig.mast, rig.extension, rig.boom)}
    by_tag: dict[str, list[tuple[int, int, int]]] = {}
    for index, hold in enumerate(problem.frozen):
        path = f"frozen[{index}]"
        if hold.tag not in tags:
            raise BadValue(f"{path}.tag", hold.tag, "", "the tag of a unit in the shed")
        _validate_span(path, hold.start_min, hold.end_min)
        if hold.tag in parts:
            raise BadValue(f"{path}.tag", hold.tag, "", "no mast, extension or boom of a standing rig")
        if hold.demand is not None and hold.demand not in demands:
            raise BadValue(f"{path}.demand", hold.demand, "", "the id of one of the demands")
        turn = problem.turn_round_min if hold.demand is not None else 0
        by_tag.setdefault(hold.tag, []).append((hold.start_min, hold.end_min + turn, index))
    _validate_issued(problem, tags)
    for tag, spans in by_tag.items():
        spans.sort()
        for (_, end, _), (start, _, index) in pairwise(spans):
            if start < end:
                raise BadValue(f"frozen[{index}]", tag, "", f"free of the hold that lasts until {end} min")


def _validate_issued(problem: Problem, tags: dict[str, tuple[str, int]]) -> None:
    """An outing that is out has the sail of a standing rig and a board, and nothing twice."""
    sails = {rig.sail for rig in problem.standing}
    kinds: dict[str, list[str]] = {}
    first: dict[str, int] = {}
    for index, hold in enumerate(problem.frozen):
        if hold.demand is None:
            continue
        kind = tags[hold.tag][0]
        if kind == "sails" and hold.tag not in sails:
            raise BadValue(
                f"frozen[{index}].tag", hold.tag, "", "the sail of a standing rig, since a rider has it"
            )
        kinds.setdefault(hold.demand, []).append(kind)
        first.setdefault(hold.demand, index)
    for demand, held in kinds.items():
        if sorted(held) != ["boards", "sails"]:
            raise BadValue(
                f"frozen[{first[demand]}].demand", demand, "", "a rider with one sail and one board"
            )
