"""What the day asks of the model: riders of equal wishes as one, and what is already spoken for."""

from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from typing import Final

from rigging.allot.problem import CHANGED_BOARD, CHANGED_SAIL, Demand, Hold, Problem, Standing, hundredths
from rigging.allot.rigs import Pattern
from rigging.allot.timeline import Slot

FAR_MIN: Final = 10**6
"""Further off than any minute of a plan."""


@dataclass(frozen=True, slots=True)
class Shape:
    """Demands that differ in nothing the model sees, by index, with their allowed losses in hundredths.

    The span includes the turn-round.
    """

    demands: tuple[int, ...]
    start_min: int
    end_min: int
    points: int
    group: str | None
    sails: tuple[tuple[int, int], ...]
    boards: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Suited:
    """Sails that some board carries, boards that carry some sail, and whether some pair doesn't go."""

    sails: tuple[int, ...]
    boards: tuple[int, ...]
    apart: bool


def shapes(problem: Problem, rigged: dict[int, int]) -> tuple[Shape, ...]:
    """The demands not yet issued, merged; `rigged` gives by sail when the first of its rigs may be taken.

    Where some sail doesn't go with some board a rider stays alone, so that the pair is one rider's.
    """
    issued = {hold.demand for hold in problem.frozen if hold.demand is not None}
    wishes = Wishes(problem, rigged, carriers(problem))
    merged: dict[tuple[Shape, int], list[int]] = defaultdict(list)
    for index, demand in enumerate(problem.demands):
        if demand.id not in issued:
            shape, alone = wishes.shape(demand)
            merged[shape, index if alone else -1].append(index)
    return tuple(replace(shape, demands=tuple(demands)) for (shape, _), demands in merged.items())


def carriers(problem: Problem) -> list[frozenset[int]]:
    """By sail, the boards that carry it."""
    boards = range(len(problem.boards))
    return [frozenset(j for j in boards if goes_with(problem, k, j)) for k in range(len(problem.sails))]


class Wishes:
    """What demands wish for, as indices into the stocks of one problem."""

    def __init__(self, problem: Problem, rigged: dict[int, int], carried: list[frozenset[int]]) -> None:
        self._turn_round_min = problem.turn_round_min
        self._carried = carried
        sails = {stock.name: k for k, stock in enumerate(problem.sails)}
        self._sails = {name: (k, rigged[k]) for name, k in sails.items() if k in rigged}
        self._boards = {stock.name: j for j, stock in enumerate(problem.boards) if stock.units}
        self._suited: dict[tuple[frozenset[int], frozenset[int]], Suited] = {}

    def shape(self, demand: Demand) -> tuple[Shape, bool]:
        """The demand's shape, without its index, and whether some sail doesn't go with some board."""
        of_sail, of_board = demand.promised or (None, None)
        sails = {
            known[0]: hundredths(loss) + _changed(of_sail, name, CHANGED_SAIL)
            for name, loss in demand.sails.items()
            if (known := self._sails.get(name)) and known[1] <= demand.start_min
        }
        boards = {
            self._boards[name]: hundredths(loss) + _changed(of_board, name, CHANGED_BOARD)
            for name, loss in demand.boards.items()
            if name in self._boards
        }
        suited = self._suiting(frozenset(sails), frozenset(boards))
        shape = Shape(
            (),
            demand.start_min,
            demand.end_min + self._turn_round_min,
            demand.points,
            demand.group,
            tuple((k, sails[k]) for k in suited.sails),
            tuple((j, boards[j]) for j in suited.boards),
        )
        return shape, suited.apart

    def _suiting(self, sails: frozenset[int], boards: frozenset[int]) -> Suited:
        """Riders of a level wish for the same classes: which go together is worked out once."""
        key = sails, boards
        if key not in self._suited:
            of = {k: self._carried[k] & boards for k in sorted(sails)}
            some = frozenset[int]().union(*of.values())
            carried = {k: mine for k, mine in of.items() if mine}
            apart = any(mine != some for mine in carried.values())
            self._suited[key] = Suited(tuple(carried), tuple(sorted(some)), apart)
        return self._suited[key]


def _changed(promised: str | None, name: str, cost: int) -> int:
    return cost if promised is not None and promised != name else 0


def goes_with(problem: Problem, sail: int, board: int) -> bool:
    """Whether the board carries a sail of that area."""
    spec = problem.boards[board].spec
    return spec.sail_min_m2 <= problem.sails[sail].spec.area_m2 <= spec.sail_max_m2


@dataclass(frozen=True, slots=True)
class Taken:
    """A span in which a unit of a stock is spoken for."""

    start_min: int
    end_min: int


def taken(problem: Problem, kind: str, from_min: int) -> dict[int, list[Taken]]:
    """Holds on the boards, or on the sails that stand, by index of the stock.

    A unit that is held later than `from_min` is kept from then on, to the end of its last hold: so all
    share one moment, and counting units is exact.
    """
    tags = problem.tags()
    standing = {rig.sail for rig in problem.standing}
    first: dict[str, int] = {}
    for hold in problem.frozen:
        first[hold.tag] = min(first.get(hold.tag, from_min), hold.start_min)
    out: dict[int, list[Taken]] = defaultdict(list)
    for tag, until in free_from(problem).items():
        of, index = tags[tag]
        if of == kind and (kind == "boards" or tag in standing):
            out[index].append(Taken(first[tag], until))
    return out


def occupied_until(problem: Problem, hold: Hold) -> int:
    """When the unit is free again: a rider's hold ends with the turn-round."""
    return hold.end_min + (problem.turn_round_min if hold.demand is not None else 0)


def free_from(problem: Problem) -> dict[str, int]:
    """By tag, when a unit that is held is free for good."""
    out: dict[str, int] = {}
    for hold in problem.frozen:
        out[hold.tag] = max(out.get(hold.tag, -FAR_MIN), occupied_until(problem, hold))
    return out


def at_hand(problem: Problem, times: tuple[Slot, ...]) -> dict[tuple[str, int, int], int]:
    """Units of each kind and stock that the crew may build with in a slot, and have in rigs after it.

    A unit that is held, and doesn't stand, is away from the plan's start to the end of its hold: so
    what is at hand only grows, and counting units is exact.
    """
    tags = problem.tags()
    standing = {tag for rig in problem.standing for tag in rig.tags}
    out: Counter[tuple[str, int, int]] = Counter()
    for kind, stocks in problem.stocks():
        for index, stock in enumerate(stocks):
            for s in range(len(times)):
                out[kind, index, s] = len(stock.units)
    away = {
        (hold.tag, s)
        for hold in problem.frozen
        if hold.tag not in standing
        for s, slot in enumerate(times)
        if occupied_until(problem, hold) > slot.start_min
    }
    for tag, s in away:
        out[*tags[tag], s] -= 1
    return dict(out)


def standing_pattern(problem: Problem, rig: Standing) -> Pattern:
    """The pattern of a standing rig."""
    tags = problem.tags()
    return Pattern(tags[rig.sail][1], tags[rig.mast][1], tags[rig.extension][1], tags[rig.boom][1])


def standing_patterns(problem: Problem) -> Counter[Pattern]:
    """How many rigs of each pattern stand when the plan starts."""
    return Counter(standing_pattern(problem, rig) for rig in problem.standing)


def first_rigged(
    made: tuple[Pattern, ...], times: tuple[Slot, ...], standing: Counter[Pattern]
) -> dict[int, int]:
    """By sail, the first minute when one of its rigs can be taken."""
    ready = min(slot.end_min for slot in times)
    out = {pattern.sail: ready for pattern in made}
    return out | {pattern.sail: -(FAR_MIN) for pattern in standing}


def held_until(problem: Problem) -> dict[Pattern, list[int]]:
    """By pattern, when each standing rig that is spoken for is free again."""
    until = free_from(problem)
    out: dict[Pattern, list[int]] = defaultdict(list)
    for rig in problem.standing:
        if rig.sail in until:
            out[standing_pattern(problem, rig)].append(until[rig.sail])
    return out


def issued_through(problem: Problem, times: tuple[Slot, ...]) -> Counter[tuple[Pattern, int]]:
    """By pattern and slot, the standing rigs that are out while the crew builds, and so must be kept."""
    out: Counter[tuple[Pattern, int]] = Counter()
    for pattern, ends in held_until(problem).items():
        for s, slot in enumerate(times):
            out[pattern, s] = sum(until > slot.start_min for until in ends)
    return out
