"""Give the units back their tags: rigs get parts, riders get rigs and boards, the least worn first.

Riders of one sail whose rigs stand all day go in order of start to whichever rig is free: spans make an
interval graph, which needs no more colours than spans under way at once. Where rigs come down in the day
each rider is first tied to a pattern; within it rigs are interchangeable, those that come down are chosen
among the idle, and the same rule holds.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from rigging.allot.model import BEFORE, Floats, Model
from rigging.allot.plan import Rig
from rigging.allot.problem import AnyStock, Problem
from rigging.allot.rigs import Pattern
from rigging.allot.shapes import FAR_MIN, free_from, held_until, standing_pattern
from rigging.allot.timeline import Slot, segments

HOUR_MIN: Final = 60


@dataclass(slots=True, eq=False)
class Standing:
    """A rig from the slot that builds it to the slot that takes it down, and the spans ridden on it.

    `number` is its pattern's in the model; `pattern` is whole, boom and all.
    """

    number: int
    pattern: Pattern
    ready_min: int
    slot: int
    until_min: int = FAR_MIN
    down: int = FAR_MIN
    tags: dict[str, str] = field(default_factory=dict)
    wear_h: float = 0.0
    busy_until: int = -FAR_MIN
    needed_min: int | None = None
    ridden_min: int = 0

    def take(self, ride: "Ride") -> None:
        """Put the ride on it."""
        self.busy_until = ride.end_min
        self.ridden_min += ride.end_min - ride.start_min
        self.wear_h += (ride.end_min - ride.start_min) / HOUR_MIN
        if self.needed_min is None and self.slot != BEFORE:
            self.needed_min = ride.start_min


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
    dropped: tuple[Ride, ...]


def coloured(model: Model, x: Floats) -> Coloured:
    """Units for a whole feasible point of the model."""
    all_rides = rides(model, x)
    ties = {ride.demand: p for k in _sails(all_rides) for ride, p in _tied(model, x, k, all_rides)}
    lost = {model.problem.demands[r.demand].group for r in all_rides if r.demand not in ties} - {None}
    served = [r for r in all_rides if r.demand in ties and model.problem.demands[r.demand].group not in lost]
    sweeps = [Sweep(model, x, k) for k in range(len(model.problem.sails))]
    rigged = [(ride, sweeps[ride.sail].rig(ride, ties[ride.demand])) for ride in served]
    rigs = [rig for sweep in sweeps for rig in sweep.finished()]
    for kind, stocks in model.problem.stocks():
        if kind in ("masts", "extensions", "booms"):
            _tag(model.problem, model.slots, kind, stocks, rigs)
    boards = _boards(model.problem, served)
    riders = tuple((ride, rig, board) for (ride, rig), board in zip(rigged, boards, strict=True))
    kept = {ride.demand for ride in served}
    return Coloured(riders, tuple(rigs), tuple(ride for ride in all_rides if ride.demand not in kept))


def _sails(all_rides: list[Ride]) -> list[int]:
    return sorted({ride.sail for ride in all_rides})


def rides(model: Model, x: Floats, only: Iterable[int] | None = None) -> list[Ride]:
    """Who is served with which stocks, in order of start; of all shapes or only those given."""
    out: list[Ride] = []
    for d in range(len(model.shapes)) if only is None else only:
        shape = model.shapes[d]
        sails = [k for k, _ in shape.sails for _ in range(round(x[model.columns.sail[d, k]]))]
        boards = [j for j, _ in shape.boards for _ in range(round(x[model.columns.board[d, j]]))]
        out += [
            Ride(demand, shape.start_min, shape.end_min, k, j)
            for demand, k, j in zip(shape.demands, sails, boards, strict=False)
        ]
    return sorted(out, key=lambda ride: (ride.start_min, ride.end_min, ride.demand))


def _tied(model: Model, x: Floats, k: int, all_rides: list[Ride]) -> list[tuple[Ride, int | None]]:
    """The rides of a sail with the pattern each is tied to, None for any; as many as can be served."""
    mine = [ride for ride in all_rides if ride.sail == k]
    stand = model.columns.stand
    used = sorted({p for (p, _), c in stand.items() if model.patterns[p].sail == k and x[c] > 0})
    if len(used) < len(("one", "another")) or len({s for _, s in stand}) < len(("before", "after")):
        return [(ride, None) for ride in mine]
    pairs = [(r, p) for r in range(len(mine)) for p in used]
    of_ride = [([r == ride for r, _ in pairs], 1) for ride in range(len(mine))]
    limits = [*of_ride, *_limits(model, x, mine, pairs)]
    rows = np.array([row for row, _ in limits], dtype=float)
    solved = milp(
        -np.ones(len(pairs)),
        integrality=np.ones(len(pairs)),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(rows, ub=np.array([most for _, most in limits], dtype=float)),
    )
    return [(mine[r], p) for (r, p), chosen in zip(pairs, solved.x, strict=True) if chosen > 1 / 2]


def _limits(
    model: Model, x: Floats, mine: list[Ride], pairs: list[tuple[int, int]]
) -> Iterator[tuple[list[bool], int]]:
    """By pattern and crowded moment: which pairs are under way, and how many rigs can be taken."""
    busy = held_until(model.problem)
    for segment in segments(model.slots):
        columns = model.columns.keep if segment.building else model.columns.stand
        there = [r for r in mine if r.start_min < segment.end_min and r.end_min > segment.start_min]
        for moment in sorted({max(ride.start_min, segment.start_min) for ride in there}):
            for p in sorted({p for _, p in pairs}):
                column = columns.get((p, segment.slot))
                rigs = 0 if column is None else round(x[column])
                out = sum(until > moment for until in busy.get(model.patterns[p], []))
                yield [q == p and mine[r].start_min <= moment < mine[r].end_min for r, q in pairs], rigs - out


class Sweep:
    """One sail's rigs through the day: built, taken, and taken down as time passes."""

    def __init__(self, model: Model, x: Floats, k: int) -> None:
        self._model, self._x = model, x
        self._patterns = [(p, pattern) for p, pattern in enumerate(model.patterns) if pattern.sail == k]
        self._units = model.problem.sails[k].units
        self._hours = {unit.tag: unit.wear_h for unit in self._units}
        self._away = free_from(model.problem)
        booms = [(b, round(x[c])) for (of, b), c in model.columns.boom.items() if of == k]
        self._booms = iter([b for b, count in booms for _ in range(count)])
        self._alive = [rig for rig in _standing(model) if rig.pattern.sail == k]
        self._gone: list[Standing] = []
        acts = [(slot.start_min, 0, s) for s, slot in enumerate(model.slots)]
        acts += [(slot.end_min, 1, s) for s, slot in enumerate(model.slots)]
        self._acts = sorted(acts, key=lambda act: (act[2], act[1]))

    def rig(self, ride: Ride, tie: int | None) -> Standing:
        """The least worn free rig of the pattern at the ride's start."""
        self._until(ride.start_min)
        free = [rig for rig in self._alive if rig.busy_until <= ride.start_min and tie in (None, rig.number)]
        rig = min(free, key=lambda rig: (rig.wear_h, rig.tags["sails"]))
        rig.take(ride)
        self._hours[rig.tags["sails"]] = rig.wear_h
        return rig

    def finished(self) -> list[Standing]:
        """All the rigs, at the end of the day."""
        self._until(FAR_MIN)
        return self._gone + self._alive

    def _until(self, minute: int) -> None:
        while self._acts and self._acts[0][0] <= minute:
            _, building, s = self._acts.pop(0)
            for p, pattern in self._patterns:
                kept = (
                    round(self._x[self._model.columns.keep[p, s]])
                    if (p, s) in self._model.columns.keep
                    else 0
                )
                if building:
                    self._build(p, pattern, s, round(self._x[self._model.columns.stand[p, s]]) - kept)
                else:
                    self._take_down(p, s, kept)

    def _take_down(self, p: int, s: int, kept: int) -> None:
        start_min = self._model.slots[s].start_min
        mine = sorted((r for r in self._alive if r.number == p), key=lambda r: (-r.busy_until, r.wear_h))
        for rig in mine[kept:]:
            rig.until_min, rig.down = start_min, s
            self._alive.remove(rig)
            self._gone.append(rig)

    def _build(self, p: int, pattern: Pattern, s: int, count: int) -> None:
        slot = self._model.slots[s]
        taken = {rig.tags["sails"] for rig in self._alive}
        for _ in range(count):
            free = [
                unit.tag
                for unit in self._units
                if unit.tag not in taken and self._away.get(unit.tag, -FAR_MIN) <= slot.start_min
            ]
            tag = min(free, key=lambda tag: (self._hours[tag], tag))
            taken.add(tag)
            whole = pattern if pattern.boom >= 0 else pattern.with_boom(next(self._booms))
            self._alive.append(
                Standing(p, whole, slot.end_min, s, tags={"sails": tag}, wear_h=self._hours[tag])
            )


def _standing(model: Model) -> Iterator[Standing]:
    numbers = {pattern: p for p, pattern in enumerate(model.patterns)}
    wear = {unit.tag: unit.wear_h for stock in model.problem.sails for unit in stock.units}
    until = free_from(model.problem)
    for rig in model.problem.standing:
        pattern = standing_pattern(model.problem, rig)
        yield Standing(
            numbers[pattern],
            pattern,
            -FAR_MIN,
            BEFORE,
            tags={"sails": rig.sail, "masts": rig.mast, "extensions": rig.extension, "booms": rig.boom},
            wear_h=wear[rig.sail],
            # A hold that begins later keeps its unit from now on, as the model counts it.
            busy_until=until.get(rig.sail, -FAR_MIN),
        )


def _tag(
    problem: Problem, times: tuple[Slot, ...], kind: str, stocks: tuple[AnyStock, ...], rigs: list[Standing]
) -> None:
    """Give each rig the least worn unit that no other rig or hold has from its slot on."""
    free_at = {
        tag: next((s for s, slot in enumerate(times) if until <= slot.start_min), FAR_MIN)
        for tag, until in free_from(problem).items()
    }
    free_at |= {rig.tags[kind]: rig.down for rig in rigs if kind in rig.tags}
    hours: dict[str, float] = defaultdict(float)
    # Rigs that ride most choose first, so the least worn unit gets the most hours.
    for rig in sorted(rigs, key=lambda rig: (rig.slot, -rig.ridden_min)):
        if kind not in rig.tags:
            stock = stocks[getattr(rig.pattern, kind.removesuffix("s"))]
            free = [unit for unit in stock.units if free_at.get(unit.tag, BEFORE) <= rig.slot]
            unit = min(free, key=lambda unit: (unit.wear_h + hours[unit.tag], unit.tag))
            rig.tags[kind] = unit.tag
            free_at[unit.tag] = rig.down
            hours[unit.tag] += rig.ridden_min / HOUR_MIN


def _boards(problem: Problem, all_rides: list[Ride]) -> list[str]:
    """The tag of each ride's board: in order of start the least worn that is free."""
    free_at = free_from(problem)
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
