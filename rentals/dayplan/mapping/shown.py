"""A plan as pages and endpoints show it: riders, rigs, honest words on how good it is, and what it costs."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil
from typing import Final, NamedTuple

from rentals.bookings.models import Outing
from rentals.dayplan.mapping.day import Clock
from rentals.dayplan.models import Plan
from rentals.dayplan.states import PlanState
from rigging.allot.jsonform import to_plan, to_problem
from rigging.allot.plan import Assignment, Rig
from rigging.allot.plan import Plan as Solved
from rigging.allot.problem import Demand, Problem
from rigging.drawing.daychart import Bar, Lane, Use

FITS: Final = ((10, "as good as it gets"), (35, "good"), (70, "fair"))
"""Up to how many hundredths of a loss a kit is called what. Status: policy."""

WORST_TOLD: Final = 0.5
"""From this gap on a percentage would say nothing. Status: policy."""


@dataclass(frozen=True, slots=True)
class RiderRow:
    """One rider of a plan and the kit that they get."""

    outing: Outing
    sail: str
    sail_tag: str
    board: str
    board_tag: str
    mismatch: int
    out: bool
    ruled_out: bool
    instead: str

    @property
    def fit(self) -> str:
        """The mismatch in a word."""
        return next((word for most, word in FITS if self.mismatch <= most), "poor")


@dataclass(frozen=True, slots=True)
class ShortRow:
    """One rider who gets no rig, why, and the cheapest thing that would change it."""

    outing: Outing
    reason: str
    remedy: str
    had: str


class Part(NamedTuple):
    """A part of a rig."""

    part: str
    model: str
    tag: str


class AsideRow(NamedTuple):
    """An outing that is not in the plan, and why."""

    outing: Outing
    why: str


@dataclass(frozen=True, slots=True)
class RigRow:
    """One rig of a plan: its parts by model and tag, when it is built, for whom first."""

    rig_id: str
    parts: tuple[Part, ...]
    stands: bool
    starts_at: datetime | None
    due_at: datetime | None
    needed_at: datetime | None
    riders: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Cost:
    """What another plan does beside the one it came from."""

    basis: int
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A solved plan laid out."""

    plan: Plan
    quality: str
    riders: tuple[RiderRow, ...]
    short: tuple[ShortRow, ...]
    rigs: tuple[RigRow, ...]
    aside: tuple[AsideRow, ...]
    lanes: tuple[Lane, ...]
    cost: Cost | None

    @property
    def other_kit(self) -> tuple[tuple[Outing, str], ...]:
        """Riders who get other kit than they were promised, and what; known for good once it is accepted."""
        if self.plan.state == PlanState.ACCEPTED:
            told = {each["outing_id"]: each["text"] for each in self.plan.changes}
            return tuple((row.outing, told[row.outing.pk]) for row in self.riders if row.outing.pk in told)
        # Beside a plan that nobody was told of there is nothing promised.
        rows = () if self.plan.note else self.riders
        return tuple((row.outing, f"{row.instead}.") for row in rows if row.instead and not row.out)


def quality(proven: bool, gap: float, points_open: int, *, chosen: bool = False) -> str:
    """How good a plan is, in words that claim no more than was proven; `chosen` when part was set by hand."""
    if proven:
        return f"Proven: no plan of this day{' with that choice' if chosen else ''} is better."
    more = "no plan serves more" if points_open == 0 else "whether a plan serves more is not ruled out"
    if gap >= WORST_TOLD:
        return f"How near it is to the best possible is not known; {more}."
    return f"Within {max(ceil(gap * 1000), 1) / 10:g} % of the best possible; {more}."


def shown(plan: Plan, outings: Mapping[int, Outing]) -> Shown:
    """Lay a solved plan out.

    Args:
        plan: with inputs and result, and its basis at hand where it has one.
        outings: those of its day by id; of others nothing is shown.
    """
    problem = to_problem(plan.inputs)
    solved = to_plan(plan.result, problem)
    layout = _Layout(problem, solved, outings, asides(plan))
    return Shown(
        plan=plan,
        quality=quality(solved.proven, solved.gap, solved.points_open, chosen=bool(plan.note)),
        riders=tuple(sorted(layout.riders(), key=_by_time)),
        short=tuple(sorted(layout.short(), key=_by_time)),
        rigs=tuple(layout.rigs()),
        aside=tuple(
            AsideRow(outings[outing_id], why)
            for outing_id, why in asides(plan).items()
            if outing_id in outings and str(outing_id) not in layout.demands
        ),
        lanes=tuple(layout.lanes()),
        cost=_cost(plan, layout),
    )


def _by_time(row: RiderRow | ShortRow) -> tuple[datetime, int]:
    return row.outing.starts_at, row.outing.pk


class _Layout:
    """A problem and its plan by id and tag."""

    def __init__(
        self, problem: Problem, solved: Solved, outings: Mapping[int, Outing], said: Mapping[int, str]
    ) -> None:
        self.problem, self.solved, self.outings, self.said = problem, solved, outings, said
        self.clock = Clock(problem.origin)
        self.demands = {demand.id: demand for demand in problem.demands}
        self.names = {
            unit.tag: stock.name for _, stocks in problem.stocks() for stock in stocks for unit in stock.units
        }
        self.rig_of = {rig.id: rig for rig in solved.rigs}

    def outing(self, demand_id: str) -> Outing | None:
        return self.outings.get(int(demand_id))

    def kit(self) -> dict[str, tuple[str, str]]:
        """Models of sail and board by demand."""
        return {a.demand: (self.names[a.sail], self.names[a.board]) for a in self.solved.assignments}

    def riders(self) -> Iterator[RiderRow]:
        for each in self.solved.assignments:
            outing, demand = self.outing(each.demand), self.demands[each.demand]
            if outing is not None:
                sail = self.names[each.sail]
                yield RiderRow(
                    outing=outing,
                    sail=sail,
                    sail_tag=each.sail,
                    board=self.names[each.board],
                    board_tag=each.board,
                    mismatch=each.mismatch,
                    out=each.issued,
                    ruled_out=each.issued and bool(demand.sails) and sail not in demand.sails,
                    instead=self._instead(demand, each),
                )

    def _instead(self, demand: Demand, each: Assignment) -> str:
        if demand.promised is None:
            return ""
        return " and ".join(swaps(demand.promised, (self.names[each.sail], self.names[each.board])))

    def short(self) -> Iterator[ShortRow]:
        for each in self.solved.unserved:
            outing = self.outing(each.demand)
            if outing is not None:
                had = self.demands[each.demand].promised
                why = self.said.get(outing.pk, each.reason.text)
                yield ShortRow(outing, why, each.remedy or "", " and ".join(had or ()))

    def rigs(self) -> Iterator[RigRow]:
        """Rigs to build in the crew's order, then those that stand and are used."""
        users: dict[str, list[str]] = {}
        for each in self.solved.assignments:
            outing = self.outing(each.demand)
            if outing is not None:
                users.setdefault(each.rig, []).append(outing.rider.name)
        standing = [rig for rig in self.solved.rigs if rig.stood and rig.id in users]
        for rig in (*self.solved.rig_up(), *standing):
            yield self._rig(rig, tuple(users.get(rig.id, ())))

    def _rig(self, rig: Rig, riders: tuple[str, ...]) -> RigRow:
        tags = {"sail": rig.sail, "mast": rig.mast, "extension": rig.extension, "boom": rig.boom}
        built = rig.built_min
        return RigRow(
            rig_id=rig.id,
            parts=tuple(Part(part, self.names[tag], tag) for part, tag in tags.items()),
            stands=rig.stood,
            starts_at=None if built is None else self.clock.moment(built[0]),
            due_at=None if built is None else self.clock.moment(built[1]),
            needed_at=None if rig.needed_min is None else self.clock.moment(rig.needed_min),
            riders=riders,
        )

    def lanes(self) -> Iterator[Lane]:
        """The day of each rig that somebody builds or has."""
        for row in self.rigs():
            rig = self.rig_of[row.rig_id]
            bars = [Bar(row.starts_at, row.due_at, Use.BUILD, "")] if row.starts_at and row.due_at else []
            for each in self.solved.assignments:
                outing = self.outing(each.demand) if each.rig == rig.id else None
                if outing is not None:
                    # Who is late is drawn to when they are reckoned back.
                    wish, use = self.demands[each.demand], Use.OUT if each.issued else Use.RIDE
                    span = self.clock.moment(wish.start_min), self.clock.moment(wish.end_min)
                    bars.append(Bar(*span, use, outing.rider.name))
            yield Lane(f"{self.names[rig.sail]} {rig.sail}", tuple(sorted(bars, key=lambda bar: bar.start)))


def asides(plan: Plan) -> dict[int, str]:
    """What was said of outings when the plan was asked for: why left aside, or what bars every sail."""
    return {each["outing_id"]: each["why"] for each in plan.aside}


def swaps(before: tuple[str, str], after: tuple[str, str]) -> Iterator[str]:
    """What differs between two kits, in words."""
    for kind, old, new in zip(("sail", "board"), before, after, strict=True):
        if old != new:
            yield f"{kind} {new} instead of {old}"


def _cost(plan: Plan, layout: _Layout) -> Cost | None:
    """What the plan does beside its basis, if that was solved."""
    basis = plan.basis
    if basis is None or basis.result is None:
        return None
    problem = to_problem(basis.inputs)
    before = _Layout(problem, to_plan(basis.result, problem), layout.outings, {})
    return Cost(basis.number, tuple(_differences(before, layout)))


def _differences(before: _Layout, after: _Layout) -> Iterator[str]:
    old, new = before.solved.score, after.solved.score
    yield _both("riders served", f"{old.served:g}", f"{new.served:g}")
    yield _both("mismatch", f"{old.mismatch / 100:g}", f"{new.mismatch / 100:g}")
    yield _both("rigs to build", f"{old.builds:g}", f"{new.builds:g}")
    had, has = before.kit(), after.kit()
    for demand_id in sorted({*had, *has}, key=int):
        outing = after.outing(demand_id)
        if outing is None or demand_id not in after.demands:
            continue
        if demand_id not in has:
            yield f"{outing.rider}: no rig any more"
        elif demand_id not in had:
            yield f"{outing.rider}: {' and '.join(has[demand_id])}"
        elif had[demand_id] != has[demand_id]:
            yield f"{outing.rider}: {' and '.join(swaps(had[demand_id], has[demand_id]))}"


def _both(what: str, old: str, new: str) -> str:
    return f"{what}: {new}, as before" if old == new else f"{what}: {new} instead of {old}"


def sails_for(plan: Plan, outing_id: int) -> Sequence[tuple[str, float]]:
    """Sails that are safe and of any use for a rider of a plan, the best first, each with its loss."""
    demand = next((d for d in to_problem(plan.inputs).demands if d.id == str(outing_id)), None)
    useful = [(name, loss) for name, loss in demand.sails.items() if loss < 1] if demand else []
    return sorted(useful, key=lambda each: (each[1], each[0]))
