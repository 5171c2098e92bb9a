"""Give the units back their tags: rigs get parts, riders get rigs and boards, the least worn first.

With one slot a rig stands all day, and handing spans in order of start to whichever rig is free never
fails: spans make an interval graph, which needs no more colours than spans under way at once. Where rigs
come down in the day a rider's rig must stand throughout; what that rule then misses is matched exactly.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from rigging.allot.model import BEFORE, Floats, Model
from rigging.allot.plan import Rig
from rigging.allot.problem import AnyStock, Problem
from rigging.allot.rigs import Pattern
from rigging.allot.shapes import FAR_MIN, occupied_until, standing_pattern
from rigging.allot.timeline import Slot, peaks

HOUR_MIN: Final = 60


@dataclass(slots=True, eq=False)
class Standing:
    """A rig from the slot that builds it to the slot that takes it down, and the spans ridden on it."""

    pattern: Pattern
    ready_min: int
    slot: int
    until_min: int = FAR_MIN
    down: int = FAR_MIN
    tags: dict[str, str] = field(default_factory=dict)
    wear_h: float = 0.0
    busy: list[tuple[int, int]] = field(default_factory=list)

    @property
    def needed_min(self) -> int | None:
        """When its first rider takes it; None when nobody does, or somebody has it already."""
        first = min((start for start, _ in self.busy), default=-FAR_MIN)
        return first if first > -FAR_MIN else None

    def stands(self, ride: "Ride") -> bool:
        """Whether it stands for the whole ride."""
        return self.ready_min <= ride.start_min and ride.end_min <= self.until_min

    def free(self, ride: "Ride") -> bool:
        """Whether nobody has it in the span of the ride."""
        return all(end <= ride.start_min or start >= ride.end_min for start, end in self.busy)

    def take(self, ride: "Ride") -> None:
        """Put the ride on it."""
        self.busy.append((ride.start_min, ride.end_min))
        self.wear_h += (ride.end_min - ride.start_min) / HOUR_MIN


@dataclass(frozen=True, slots=True)
class Ride:
    """A rider, by index of the demand: the span with its turn-round, and the stocks of sail and board."""

    demand: int
    start_min: int
    end_min: int
    sail: int
    board: int


@dataclass(frozen=True, slots=True)
class Coloured:
    """Who rides which rig and which board; riders for whom no rig stands throughout are `dropped`."""

    riders: tuple[tuple[Ride, Standing, str], ...]
    rigs: tuple[Standing, ...]
    dropped: frozenset[int]


def coloured(model: Model, x: Floats) -> Coloured:
    """Units for a whole feasible point of the model."""
    rigs = _rigs(model, x)
    _tag_sails(model.problem, model.slots, rigs)
    rigged = _rigged(model.problem, rides(model, x), rigs)
    _tag_parts(model.problem, model.slots, rigs)
    tags = _boards(model.problem, [ride for ride, _ in rigged])
    dropped = {ride.demand for ride in rides(model, x)} - {ride.demand for ride, _ in rigged}
    riders = tuple((ride, rig, tag) for (ride, rig), tag in zip(rigged, tags, strict=True))
    return Coloured(riders, tuple(rigs), frozenset(dropped))


def rides(model: Model, x: Floats) -> list[Ride]:
    """Who is served with which stocks, in order of start."""
    out: list[Ride] = []
    for d, shape in enumerate(model.shapes):
        sails = [k for k, _ in shape.sails for _ in range(round(x[model.columns.sail[d, k]]))]
        boards = [j for j, _ in shape.boards for _ in range(round(x[model.columns.board[d, j]]))]
        out += [
            Ride(demand, shape.start_min, shape.end_min, k, j)
            for demand, k, j in zip(shape.demands, sails, boards, strict=False)
        ]
    return sorted(out, key=lambda ride: (ride.start_min, ride.end_min, ride.demand))


def _rigs(model: Model, x: Floats) -> list[Standing]:
    """The rigs that the counts by pattern and slot speak of."""
    alive: dict[int, list[Standing]] = defaultdict(list)
    numbers = {pattern: p for p, pattern in enumerate(model.patterns)}
    for rig in _standing(model.problem):
        alive[numbers[rig.pattern]].append(rig)
    out = [rig for rigs in alive.values() for rig in rigs]
    columns = model.columns
    booms = {
        k: iter([b for (of, b), c in columns.boom.items() if of == k for _ in range(round(x[c]))])
        for k in {k for k, _ in columns.boom}
    }
    for s, slot in enumerate(model.slots):
        for p, pattern in enumerate(model.patterns):
            kept = round(x[columns.keep[p, s]]) if (p, s) in columns.keep else 0
            new = round(x[columns.stand[p, s]]) - kept
            # Those out longest stay; of the rest the oldest.
            alive[p].sort(key=lambda rig: -max((end for _, end in rig.busy), default=-FAR_MIN))
            for rig in alive[p][kept:]:
                rig.until_min, rig.down = slot.start_min, s
            built = [Standing(pattern, slot.end_min, s) for _ in range(new)]
            for rig in built:
                if pattern.boom < 0:
                    rig.pattern = replace(pattern, boom=next(booms[pattern.sail]))
            alive[p] = alive[p][:kept] + built
            out += built
    return out


def _standing(problem: Problem) -> Iterator[Standing]:
    holds: dict[str, list[tuple[int, int]]] = {}
    for hold in problem.frozen:
        holds.setdefault(hold.tag, []).append((hold.start_min, occupied_until(problem, hold)))
    for rig in problem.standing:
        tags = {"sails": rig.sail, "masts": rig.mast, "extensions": rig.extension, "booms": rig.boom}
        # A hold that begins later keeps its unit from now on, as the model counts it.
        until = max((end for _, end in holds.get(rig.sail, [])), default=-FAR_MIN)
        busy = [(-FAR_MIN, until)] if until > -FAR_MIN else []
        yield Standing(standing_pattern(problem, rig), -FAR_MIN, BEFORE, tags=tags, busy=busy)


def _tag_sails(problem: Problem, times: tuple[Slot, ...], rigs: list[Standing]) -> None:
    wear = {unit.tag: unit.wear_h for stock in problem.sails for unit in stock.units}
    _tag(problem, times, "sails", problem.sails, rigs)
    for rig in rigs:
        rig.wear_h = wear[rig.tags["sails"]]


def _tag_parts(problem: Problem, times: tuple[Slot, ...], rigs: list[Standing]) -> None:
    for kind, stocks in problem.stocks():
        if kind in ("masts", "extensions", "booms"):
            _tag(problem, times, kind, stocks, rigs)


def _tag(
    problem: Problem, times: tuple[Slot, ...], kind: str, stocks: tuple[AnyStock, ...], rigs: list[Standing]
) -> None:
    """Give each rig the least worn unit that no other rig or hold has from its slot on."""
    free_at = {
        hold.tag: next(
            (s for s, slot in enumerate(times) if occupied_until(problem, hold) <= slot.start_min), FAR_MIN
        )
        for hold in sorted(problem.frozen, key=lambda hold: hold.end_min)
    }
    free_at |= {rig.tags[kind]: rig.down for rig in rigs if kind in rig.tags}
    hours: dict[str, float] = defaultdict(float)
    # Rigs that ride most choose first, so the least worn unit gets the most hours.
    for rig in sorted(rigs, key=lambda rig: (rig.slot, -sum(end - start for start, end in rig.busy))):
        if kind not in rig.tags:
            stock = stocks[getattr(rig.pattern, kind.removesuffix("s"))]
            free = [unit for unit in stock.units if free_at.get(unit.tag, BEFORE) <= rig.slot]
            unit = min(free, key=lambda unit: (unit.wear_h + hours[unit.tag], unit.tag))
            rig.tags[kind] = unit.tag
            free_at[unit.tag] = rig.down
            hours[unit.tag] += sum(end - start for start, end in rig.busy) / HOUR_MIN


def _rigged(problem: Problem, all_rides: list[Ride], rigs: list[Standing]) -> list[tuple[Ride, Standing]]:
    by_sail: dict[int, list[Standing]] = defaultdict(list)
    for rig in rigs:
        by_sail[rig.pattern.sail].append(rig)
    out: list[tuple[Ride, Standing]] = []
    for k in sorted({ride.sail for ride in all_rides}):
        mine = [ride for ride in all_rides if ride.sail == k]
        chosen = _in_turn(mine, by_sail[k])
        out += chosen if len(chosen) == len(mine) else _matched(problem, mine, by_sail[k])
    out = _without_broken_groups(problem, all_rides, out)
    for ride, rig in out:
        rig.take(ride)
    return sorted(out, key=lambda pair: (pair[0].start_min, pair[0].demand))


def _in_turn(mine: list[Ride], rigs: list[Standing]) -> list[tuple[Ride, Standing]]:
    """Each ride in order of start to a free rig: the one that comes down first, then the least worn."""
    trial = [replace(rig, busy=list(rig.busy)) for rig in rigs]
    out = []
    for ride in mine:
        free = [n for n, rig in enumerate(trial) if rig.stands(ride) and rig.free(ride)]
        if free:
            best = min(free, key=lambda n: (trial[n].until_min, trial[n].wear_h, n))
            trial[best].take(ride)
            out.append((ride, rigs[best]))
    return out


def _matched(problem: Problem, mine: list[Ride], rigs: list[Standing]) -> list[tuple[Ride, Standing]]:
    """As many rides as rigs can take, by an integer programme over ride and rig."""
    pairs = [
        (r, n)
        for r, ride in enumerate(mine)
        for n, rig in enumerate(rigs)
        if rig.stands(ride) and rig.free(ride)
    ]
    if not pairs:
        return []
    of_ride = np.array([[r == ride for r, _ in pairs] for ride in range(len(mine))], dtype=float)
    starts = np.array([ride.start_min for ride in mine])
    ends = np.array([ride.end_min for ride in mine])
    of_rig = np.array(
        [
            [n == rig and starts[r] <= moment < ends[r] for r, n in pairs]
            for moment in peaks(starts, ends)
            for rig in range(len(rigs))
        ],
        dtype=float,
    )
    solved = milp(
        -np.ones(len(pairs)),
        integrality=np.ones(len(pairs)),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(np.vstack([of_ride, of_rig]), ub=1),
    )
    return [(mine[r], rigs[n]) for (r, n), chosen in zip(pairs, solved.x, strict=True) if chosen > 1 / 2]


def _without_broken_groups(
    problem: Problem, all_rides: list[Ride], found: list[tuple[Ride, Standing]]
) -> list[tuple[Ride, Standing]]:
    served = {ride.demand for ride, _ in found}
    broken = {problem.demands[ride.demand].group for ride in all_rides if ride.demand not in served} - {None}
    return [(ride, rig) for ride, rig in found if problem.demands[ride.demand].group not in broken]


def _boards(problem: Problem, all_rides: list[Ride]) -> list[str]:
    """The tag of each ride's board: in order of start the least worn that is free."""
    free_at = {
        hold.tag: occupied_until(problem, hold) for hold in sorted(problem.frozen, key=lambda h: h.end_min)
    }
    hours = {unit.tag: unit.wear_h for stock in problem.boards for unit in stock.units}
    out = []
    for ride in all_rides:
        units = problem.boards[ride.board].units
        free = [unit.tag for unit in units if free_at.get(unit.tag, -FAR_MIN) <= ride.start_min]
        tag = min(free, key=lambda tag: (hours[tag], tag))
        free_at[tag] = ride.end_min
        hours[tag] += (ride.end_min - ride.start_min) / HOUR_MIN
        out.append(tag)
    return out


def rig_list(model: Model, rigs: tuple[Standing, ...]) -> dict[int, Rig]:
    """The rigs as the plan lists them, by their place in `rigs`: crew order, who builds each and when."""
    out: dict[int, Rig] = {}
    order = sorted(
        range(len(rigs)), key=lambda n: (rigs[n].slot, rigs[n].needed_min or FAR_MIN, rigs[n].tags["sails"])
    )
    seats = {
        s: iter(sorted(slot.seats, key=lambda seat: (seat.end_min, seat.hand)))
        for s, slot in enumerate(model.slots)
        if slot.seats is not None
    }
    for number, n in enumerate(order, 1):
        rig = rigs[n]
        seat = next(seats[rig.slot]) if rig.slot in seats else None
        out[n] = Rig(
            id=f"R{number:03d}",
            sail=rig.tags["sails"],
            mast=rig.tags["masts"],
            extension=rig.tags["extensions"],
            boom=rig.tags["booms"],
            stood=rig.slot == BEFORE,
            ready_min=seat.end_min if seat else None,
            until_min=None if rig.until_min == FAR_MIN else rig.until_min,
            needed_min=rig.needed_min,
            built_min=(seat.start_min, seat.end_min) if seat else None,
            hand=seat.hand if seat else None,
        )
    return out
