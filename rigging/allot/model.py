"""The day as an integer programme: identical units, moments of a crowd, and rigs as flows through the slots.

Rows: each rider one sail and one board that go together; riders under way at each peak within the rigs;
rigs within the units of every part; what is kept stood before and stands after; builds within
the crew's seats.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy import sparse

from rigging.allot.problem import Problem
from rigging.allot.rigs import Pattern, patterns
from rigging.allot.shapes import (
    Shape,
    Taken,
    at_hand,
    carriers,
    first_rigged,
    held_until,
    issued_through,
    shapes,
    standing_patterns,
    taken,
)
from rigging.allot.timeline import Segment, Slot, peaks, segments, slots

Floats = npt.NDArray[np.float64]
Terms = list[tuple[int, float]]
Source = tuple[str, int]
"""What sets a limit: the kind and index of a stock, or "crew" and the slot."""

INF: Final = float("inf")
POINT_OVER_WORST: Final = 8.0
"""A point's weight over all the mismatch there can be. Over 1 the order is strict; the rest keeps a bound
that lies between two counts of points from being blamed on mismatch. Status: policy."""
BEFORE: Final = -1
"""The slot number of what stands before the crew's first slot."""


@dataclass(frozen=True, slots=True)
class Columns:
    """Where each unknown is, with d a shape, k a sail, j a board, p a pattern, s a slot, b a boom.

    sail[d,k] and board[d,j]: riders of the shape who get it. whole[g]: 1 when the group is served.
    rigs[k,s] and kept[k,s]: rigs standing after slot s, and through the building in it; stand[p,s] and
    keep[p,s] the same by pattern. boom[k,b]: booms on sail k, where patterns leave the boom out.
    """

    sail: dict[tuple[int, int], int] = field(default_factory=dict)
    board: dict[tuple[int, int], int] = field(default_factory=dict)
    whole: dict[str, int] = field(default_factory=dict)
    rigs: dict[tuple[int, int], int] = field(default_factory=dict)
    kept: dict[tuple[int, int], int] = field(default_factory=dict)
    stand: dict[tuple[int, int], int] = field(default_factory=dict)
    keep: dict[tuple[int, int], int] = field(default_factory=dict)
    boom: dict[tuple[int, int], int] = field(default_factory=dict)


Span = tuple[int, int, int]
"""Start and end of a shape's time in minutes, and its column."""


@dataclass(frozen=True, slots=True)
class Crowd:
    """Rows that keep the riders of one stock within its units, in one segment of the day, peak by peak.

    `supply` is the column of the rigs to be had, None where the number of `units` is fixed.
    """

    kind: str
    stock: int
    segment: Segment
    supply: int | None
    units: int
    spans: tuple[Span, ...]
    held: tuple[Taken, ...]
    rows: dict[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Weights:
    """The strict order as numbers: a point outweighs all mismatch there can be, a hundredth all builds."""

    point: float
    build: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """Minimise cost @ x + offset with low <= x <= high, row_low <= matrix @ x <= row_high, some x whole."""

    problem: Problem
    slots: tuple[Slot, ...]
    shapes: tuple[Shape, ...]
    patterns: tuple[Pattern, ...]
    weights: Weights
    columns: Columns
    points_row: int
    sources: dict[int, Source]
    crowds: tuple[Crowd, ...]
    cost: Floats
    low: Floats
    high: Floats
    whole: npt.NDArray[np.bool_]
    matrix: sparse.csc_matrix
    row_low: Floats
    row_high: Floats
    offset: float

    def value(self, x: Floats) -> float:
        """The objective of a point."""
        return float(self.cost @ x) + self.offset

    @property
    def points(self) -> int:
        """Points of all the riders."""
        return sum(shape.points * len(shape.demands) for shape in self.shapes)

    def short(self, x: Floats) -> int:
        """Points of the riders whom a whole point leaves unserved."""
        return self.points - round(float((self.matrix[self.points_row] @ x)[0]))

    def with_points(self, *, least_short: int) -> "Model":
        """The same with a count of points short that is proven to be the least."""
        high = self.row_high.copy()
        high[self.points_row] = self.points - least_short
        return replace(self, row_high=high)

    def among(self, *, short: int, worst: float) -> "Model":
        """The same where no plan falls short by less than `short` points: values of those that do stay.

        A point then needs to outweigh no more than the mismatch `worst` of a known plan, which keeps
        costs within the reach of a solver's tolerances.
        """
        lighter = self.weights.point - (worst + 2.0)
        worth = self.matrix[self.points_row].toarray()[0]
        return replace(
            self,
            cost=self.cost + lighter * worth,
            offset=self.offset - lighter * (self.points - short),
        )

    def holds(self, x: Floats, tolerance: float = 1e-6) -> bool:
        """Whether a point keeps every bound, row and wholeness."""
        rows = self.matrix @ x
        return bool(
            np.all(x >= self.low - tolerance)
            and np.all(x <= self.high + tolerance)
            and np.all(rows >= self.row_low - tolerance)
            and np.all(rows <= self.row_high + tolerance)
            and np.all(np.abs(x - np.rint(x))[self.whole] <= tolerance)
        )


class Draft:
    """The model as it grows, column by column and row by row."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.slots = slots(problem)
        self.segments = segments(self.slots)
        self.standing = standing_patterns(problem)
        made = patterns(problem)
        loose = _loose(made) if len(self.slots) == 1 and not self.standing else frozenset()
        self.links = sorted({(p.sail, p.boom) for p in made if p.sail in loose})
        self.patterns = tuple(
            dict.fromkeys(p.bare() if p.sail in loose else p for p in (*made, *self.standing))
        )
        self.shapes = shapes(problem, first_rigged(made, self.slots, self.standing))
        self.carried = carriers(problem)
        self.at_hand = at_hand(problem, self.slots)
        self.issued = issued_through(problem, self.slots)
        self.columns = Columns()
        self.weights = _weights(self.shapes, problem)
        self.points_row = -1
        self.sources: dict[int, Source] = {}
        self.crowds: list[Crowd] = []
        self._cost: list[float] = []
        self._high: list[float] = []
        self._low: list[float] = []
        self._whole: list[bool] = []
        self._row_low: list[float] = []
        self._row_high: list[float] = []
        self._row_of: list[int] = []
        self._column_of: list[int] = []
        self._entry: list[float] = []

    def column(self, cost: float, high: float, low: float = 0.0, *, whole: bool = True) -> int:
        """Add an unknown and return its number."""
        self._cost.append(cost)
        self._high.append(high)
        self._low.append(low)
        self._whole.append(whole)
        return len(self._cost) - 1

    def high(self, column: int) -> float:
        """The upper bound of an unknown."""
        return self._high[column]

    def row(self, terms: Terms, low: float = -INF, high: float = INF, of: Source | None = None) -> int:
        """Add low <= sum of terms <= high, a limit set by `of`; return the row's number."""
        columns = [column for column, _ in terms]
        return self._add_row(columns, [entry for _, entry in terms], low, high, of)

    def crowd(self, columns: list[int], supply: int | None, high: float, of: Source | None = None) -> int:
        """Add a limit on a sum of riders: at most the supply's column and `high` together."""
        if supply is None:
            return self._add_row(columns, [1.0] * len(columns), -INF, high, of)
        return self._add_row([*columns, supply], [*([1.0] * len(columns)), -1.0], -INF, high, of)

    def _add_row(
        self, columns: list[int], entries: list[float], low: float, high: float, of: Source | None
    ) -> int:
        number = len(self._row_low)
        if of is not None:
            self.sources[number] = of
        self._row_low.append(low)
        self._row_high.append(high)
        self._row_of += [number] * len(columns)
        self._column_of += columns
        self._entry += entries
        return number

    def model(self) -> Model:
        """The arrays of what has been added."""
        entries = (np.array(self._entry, dtype=float), (self._row_of, self._column_of))
        size = (len(self._row_low), len(self._cost))
        return Model(
            problem=self.problem,
            slots=self.slots,
            shapes=self.shapes,
            patterns=self.patterns,
            weights=self.weights,
            columns=self.columns,
            points_row=self.points_row,
            sources=self.sources,
            crowds=tuple(self.crowds),
            cost=np.array(self._cost, dtype=float),
            low=np.array(self._low, dtype=float),
            high=np.array(self._high, dtype=float),
            whole=np.array(self._whole, dtype=bool),
            matrix=sparse.csc_matrix(entries, shape=size),
            row_low=np.array(self._row_low, dtype=float),
            row_high=np.array(self._row_high, dtype=float),
            offset=self.weights.point * sum(shape.points * len(shape.demands) for shape in self.shapes),
        )


def build(problem: Problem, by_pattern: frozenset[int] = frozenset()) -> Model:
    """The model of a valid problem; riders of the sails in `by_pattern` choose their rig's pattern too.

    Counting rigs by sail is exact unless rigs of several patterns come down in the day; then a rider may
    be left without one that stands throughout, and counting by pattern rules that out.
    """
    draft = Draft(problem)
    _add_riders(draft)
    _add_points(draft)
    _add_rigs(draft)
    _add_parts(draft)
    _add_crew(draft)
    _add_sail_peaks(draft)
    _add_board_peaks(draft)
    for k in sorted(by_pattern):
        _add_choice_of_pattern(draft, k)
    return draft.model()


def _loose(made: tuple[Pattern, ...]) -> frozenset[int]:
    """Sails on which any boom goes with any mast: with one slot the boom can be chosen apart."""
    booms: dict[int, dict[tuple[int, int], set[int]]] = defaultdict(lambda: defaultdict(set))
    for p in made:
        booms[p.sail][p.mast, p.extension].add(p.boom)
    return frozenset(k for k, by_mast in booms.items() if len(set(map(frozenset, by_mast.values()))) == 1)


def _weights(all_shapes: tuple[Shape, ...], problem: Problem) -> Weights:
    worst = sum(
        len(s.demands) * (max(loss for _, loss in s.sails) + max(loss for _, loss in s.boards))
        for s in all_shapes
        if s.sails
    )
    builds = sum(len(stock.units) for stock in problem.sails) * len(slots(problem))
    # A power of two keeps sums of builds exact.
    return Weights(point=POINT_OVER_WORST * (worst + 2.0), build=2.0 ** -(int(builds).bit_length()))


def _add_riders(draft: Draft) -> None:
    for shape in draft.shapes:
        if shape.group is not None and shape.group not in draft.columns.whole:
            draft.columns.whole[shape.group] = draft.column(0.0, 1.0)
    for d, shape in enumerate(draft.shapes):
        count = float(len(shape.demands))
        worth = draft.weights.point * shape.points
        sails: Terms = []
        boards: Terms = []
        for k, loss in shape.sails:
            draft.columns.sail[d, k] = draft.column(loss - worth, count)
            sails.append((draft.columns.sail[d, k], 1.0))
        for j, loss in shape.boards:
            draft.columns.board[d, j] = draft.column(loss, count)
            boards.append((draft.columns.board[d, j], -1.0))
        if shape.group is None:
            draft.row(sails, high=count)
        else:
            draft.row([*sails, (draft.columns.whole[shape.group], -count)], 0.0, 0.0)
        draft.row([*sails, *boards], 0.0, 0.0)
        _add_pairing(draft, d, shape)


def _add_points(draft: Draft) -> None:
    """One row that counts the points served, for a proven limit on them to tighten."""
    shapes = draft.shapes
    served: Terms = [(c, float(shapes[d].points)) for (d, _), c in draft.columns.sail.items()]
    draft.points_row = draft.row(served, high=float(sum(s.points * len(s.demands) for s in shapes)))


def _add_pairing(draft: Draft, d: int, shape: Shape) -> None:
    """Riders on sails that go only with some boards don't outnumber riders on those boards."""
    some = frozenset(j for j, _ in shape.boards)
    suits = {k: draft.carried[k] & some for k, _ in shape.sails}
    for boards in dict.fromkeys(suits.values()):
        if len(boards) < len(shape.boards):
            sails: Terms = [(draft.columns.sail[d, k], 1.0) for k, other in suits.items() if other <= boards]
            draft.row([*sails, *((draft.columns.board[d, j], -1.0) for j in sorted(boards))], high=0.0)


def _add_rigs(draft: Draft) -> None:
    for s in range(BEFORE, len(draft.slots)):
        by_sail: dict[int, Terms] = defaultdict(list)
        kept_by_sail: dict[int, Terms] = defaultdict(list)
        for p, pattern in enumerate(draft.patterns):
            before = draft.columns.stand.get((p, s - 1))
            if s == BEFORE:
                if standing := draft.standing.get(pattern, 0):
                    draft.columns.stand[p, s] = draft.column(0.0, standing, standing)
                    by_sail[pattern.sail].append((draft.columns.stand[p, s], 1.0))
                continue
            units = _units(draft, pattern, s)
            stand = draft.columns.stand[p, s] = draft.column(draft.weights.build, units)
            by_sail[pattern.sail].append((stand, 1.0))
            if before is not None:
                keep = draft.columns.keep[p, s] = draft.column(
                    -draft.weights.build, units, draft.issued[pattern, s]
                )
                kept_by_sail[pattern.sail].append((keep, 1.0))
                draft.row([(keep, 1.0), (before, -1.0)], high=0.0)
                draft.row([(keep, 1.0), (stand, -1.0)], high=0.0)
        for total, parts in ((draft.columns.rigs, by_sail), (draft.columns.kept, kept_by_sail)):
            for k, terms in parts.items():
                total[k, s] = draft.column(0.0, len(draft.problem.sails[k].units), whole=False)
                draft.row([*terms, (total[k, s], -1.0)], 0.0, 0.0)


def _units(draft: Draft, pattern: Pattern, s: int) -> int:
    parts = [("sails", pattern.sail), ("masts", pattern.mast), ("extensions", pattern.extension)]
    if pattern.boom >= 0:
        parts.append(("booms", pattern.boom))
    return min(draft.at_hand[kind, index, s] for kind, index in parts)


def _add_parts(draft: Draft) -> None:
    for s in range(len(draft.slots)):
        use: dict[tuple[str, int], Terms] = defaultdict(list)
        for p, pattern in enumerate(draft.patterns):
            term = (draft.columns.stand[p, s], 1.0)
            use["masts", pattern.mast].append(term)
            use["extensions", pattern.extension].append(term)
            if pattern.boom >= 0:
                use["booms", pattern.boom].append(term)
        for (k, at), column in draft.columns.rigs.items():
            if at == s:
                use["sails", k].append((column, 1.0))
        if draft.links:
            _add_loose_booms(draft, use)
        for (kind, index), terms in use.items():
            draft.row(terms, high=draft.at_hand[kind, index, s], of=(kind, index))


def _add_loose_booms(draft: Draft, use: dict[tuple[str, int], Terms]) -> None:
    """Booms of the sails whose boom doesn't depend on the mast, when all rigs stand all day."""
    by_sail: dict[int, Terms] = defaultdict(list)
    for k, b in draft.links:
        if (k, 0) in draft.columns.rigs:
            boom = draft.columns.boom[k, b] = draft.column(0.0, draft.at_hand["booms", b, 0])
            by_sail[k].append((boom, 1.0))
            use["booms", b].append((boom, 1.0))
    for k, terms in by_sail.items():
        draft.row([*terms, (draft.columns.rigs[k, 0], -1.0)], 0.0, 0.0)


def _add_crew(draft: Draft) -> None:
    for s, slot in enumerate(draft.slots):
        if slot.seats is None:
            continue
        stood = [(c, 1.0) for (_, at), c in draft.columns.stand.items() if at == s]
        kept = [(c, -1.0) for (_, at), c in draft.columns.keep.items() if at == s]
        draft.row([*stood, *kept], high=len(slot.seats), of=("crew", s))


def _add_sail_peaks(draft: Draft) -> None:
    held = taken(draft.problem, "sails", draft.segments[0].start_min)
    wishes = _spans(draft, draft.columns.sail)
    for k in sorted({k for k, _ in draft.columns.rigs} | wishes.keys() | held.keys()):
        for segment in draft.segments:
            rigs = (draft.columns.kept if segment.building else draft.columns.rigs).get((k, segment.slot))
            crowd = Crowd("sails", k, segment, rigs, 0, tuple(wishes.get(k, ())), tuple(held.get(k, ())), {})
            for moment, riders, busy in crowded(crowd):
                crowd.rows[moment] = draft.crowd(riders, rigs, -busy)
            draft.crowds.append(crowd)


def _add_board_peaks(draft: Draft) -> None:
    day = Segment(draft.segments[0].start_min, draft.segments[-1].end_min, BEFORE, building=False)
    held = taken(draft.problem, "boards", day.start_min)
    wishes = _spans(draft, draft.columns.board)
    for j, stock in enumerate(draft.problem.boards):
        units = len(stock.units)
        crowd = Crowd("boards", j, day, None, units, tuple(wishes.get(j, ())), tuple(held.get(j, ())), {})
        for moment, riders, busy in crowded(crowd):
            if sum(draft.high(column) for column in riders) > units - busy:
                crowd.rows[moment] = draft.crowd(riders, None, units - busy, of=("boards", j))
        draft.crowds.append(crowd)


def _add_choice_of_pattern(draft: Draft, k: int) -> None:
    numbers = [p for p, pattern in enumerate(draft.patterns) if pattern.sail == k]
    spans: dict[int, list[Span]] = defaultdict(list)
    for (d, sail), column in list(draft.columns.sail.items()):
        if sail == k:
            shape = draft.shapes[d]
            choices = [draft.column(0.0, draft.high(column)) for _ in numbers]
            draft.row([(column, -1.0), *((choice, 1.0) for choice in choices)], 0.0, 0.0)
            for p, choice in zip(numbers, choices, strict=True):
                spans[p].append((shape.start_min, shape.end_min, choice))
    busy = held_until(draft.problem)
    for p in numbers:
        held = tuple(Taken(draft.segments[0].start_min, until) for until in busy.get(draft.patterns[p], []))
        for segment in draft.segments:
            rigs = (draft.columns.keep if segment.building else draft.columns.stand).get((p, segment.slot))
            crowd = Crowd("patterns", p, segment, rigs, 0, tuple(spans[p]), held, {})
            for moment, riders, out in crowded(crowd):
                crowd.rows[moment] = draft.crowd(riders, rigs, -out)
            draft.crowds.append(crowd)


def _spans(draft: Draft, columns: dict[tuple[int, int], int]) -> dict[int, list[Span]]:
    """By stock: start, end and column of every shape that may have it."""
    out: dict[int, list[Span]] = defaultdict(list)
    for (d, stock), column in columns.items():
        out[stock].append((draft.shapes[d].start_min, draft.shapes[d].end_min, column))
    return out


def crowded(crowd: Crowd, during: tuple[int, int] | None = None) -> Iterator[tuple[int, list[int], int]]:
    """Per peak: the minute, the columns of riders who may be under way, and how many units are taken.

    `during` leaves out the peaks outside [start, end).
    """
    segment = crowd.segment
    held = [(hold.start_min, hold.end_min, -1) for hold in crowd.held]
    starts, ends, columns = np.array([*crowd.spans, *held], dtype=np.int64).reshape(-1, 3).T
    inside = (starts < segment.end_min) & (ends > segment.start_min)
    starts = np.maximum(starts[inside], segment.start_min)
    ends, columns = np.minimum(ends[inside], segment.end_min), columns[inside]
    moments, riders = peaks(starts, ends), columns >= 0
    if during:
        moments = moments[(moments >= during[0]) & (moments < during[1])]
    under_way = (starts <= moments[:, None]) & (ends > moments[:, None])
    busy = under_way[:, ~riders].sum(axis=1).tolist()
    peak, rider = np.nonzero(under_way[:, riders])
    cuts = np.searchsorted(peak, np.arange(len(moments) + 1)).tolist()
    at = columns[riders][rider].tolist()
    for n, moment in enumerate(moments.tolist()):
        yield moment, at[cuts[n] : cuts[n + 1]], busy[n]
