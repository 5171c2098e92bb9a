"""A good day at once: riders in order, each given the best that is still free, building rigs as needed."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from rigging.allot.model import BEFORE, Floats, Model
from rigging.allot.shapes import goes_with
from rigging.allot.timeline import Ints

SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Step:
    """Columns to raise by one (or lower, by `by`), and the rows that this uses up."""

    columns: Ints
    by: Floats
    rows: Ints
    use: Floats


class Filling:
    """A point of the model, nobody served at first, and the room that it leaves in every row."""

    def __init__(self, model: Model, x: Floats | None = None) -> None:
        self.model = model
        self.x = _kept_as_standing(model) if x is None else x.copy()
        self.room = model.row_high - model.matrix @ self.x
        self.builds = _builds(model)
        self._riders: dict[tuple[str, int, int], Step] = {}

    def fits(self, *steps: Step) -> bool:
        """Whether all the steps together keep the rows."""
        if len(steps) == 1:
            return bool(np.all(self.room[steps[0].rows] - steps[0].use >= -SLACK))
        joined = joint(self.model, steps)
        return bool(np.all(self.room[joined.rows] - joined.use >= -SLACK))

    def take(self, *steps: Step) -> None:
        """Make the steps."""
        for step in steps:
            np.add.at(self.x, step.columns, step.by)
            self.room[step.rows] -= step.use

    def undo(self, *steps: Step) -> None:
        """Take the steps back."""
        for step in steps:
            np.add.at(self.x, step.columns, -step.by)
            self.room[step.rows] += step.use

    def rider(self, kind: str, d: int, index: int) -> Step:
        """One rider of a shape on a sail or a board, without the rows that tie the two together."""
        key = (kind, d, index)
        if key not in self._riders:
            column = (self.model.columns.sail if kind == "sail" else self.model.columns.board)[d, index]
            step = step_of(self.model, [column], [1.0])
            tied = np.isneginf(self.model.row_low[step.rows])
            self._riders[key] = Step(step.columns, step.by, step.rows[tied], step.use[tied])
        return self._riders[key]

    def rig_for(self, step: Step, k: int, start_min: int) -> Step | None:
        """The build that makes room for the step with the most parts left over, if there is one."""
        best, most = None, -np.inf
        for build in self.builds.get(k, ()):
            if self.model.slots[build.slot].end_min <= start_min and self.fits(build.step, step):
                scarce = build.step.use > 0
                left = float(np.min(self.room[build.step.rows[scarce]], initial=np.inf))
                if left > most:
                    best, most = build.step, left
        return best


@dataclass(frozen=True, slots=True)
class Build:
    """A rig of one pattern built in a slot and standing to the end of the day."""

    slot: int
    step: Step


def step_of(model: Model, columns: Sequence[int], by: Sequence[float]) -> Step:
    """The step that raises the columns."""
    matrix, parts, uses = model.matrix, [], []
    for column, amount in zip(columns, by, strict=True):
        span = slice(matrix.indptr[column], matrix.indptr[column + 1])
        parts.append(matrix.indices[span])
        uses.append(matrix.data[span] * amount)
    return _gathered(np.array(columns), np.array(by), np.concatenate(parts), np.concatenate(uses))


def joint(model: Model, steps: Sequence[Step]) -> Step:
    """Several steps as one."""
    return _gathered(
        np.concatenate([step.columns for step in steps]),
        np.concatenate([step.by for step in steps]),
        np.concatenate([step.rows for step in steps]),
        np.concatenate([step.use for step in steps]),
    )


def _gathered(columns: Ints, by: Floats, rows: Ints, use: Floats) -> Step:
    unique, where = np.unique(rows, return_inverse=True)
    total = np.bincount(where, weights=use, minlength=len(unique))
    used = total != 0
    return Step(columns, by, unique[used], total[used])


def _kept_as_standing(model: Model) -> Floats:
    """Nobody served, nothing built, and what stands is kept all day where its parts allow."""
    x = model.low.copy()
    columns = model.columns
    for (p, s), stand in columns.stand.items():
        before = columns.stand.get((p, s - 1))
        if s != BEFORE and before is not None:
            x[stand] = x[columns.keep[p, s]] = min(x[before], model.high[stand])
        k = model.patterns[p].sail
        x[columns.rigs[k, s]] += x[stand]
        if (p, s) in columns.keep:
            x[columns.kept[k, s]] += x[columns.keep[p, s]]
    return x


def _builds(model: Model) -> dict[int, list[Build]]:
    booms: dict[int, list[int]] = defaultdict(list)
    for (k, _), column in model.columns.boom.items():
        booms[k].append(column)
    out: dict[int, list[Build]] = defaultdict(list)
    for s, slot in enumerate(model.slots):
        if slot.seats is not None and not slot.seats:
            continue
        for p, pattern in enumerate(model.patterns):
            for columns in _standing_from(model, p, pattern.sail, s, booms.get(pattern.sail, [])):
                out[pattern.sail].append(Build(s, step_of(model, columns, [1.0] * len(columns))))
    return out


def _standing_from(model: Model, p: int, k: int, slot: int, booms: list[int]) -> Iterator[list[int]]:
    columns = model.columns
    out: list[int] = []
    for s in range(slot, len(model.slots)):
        out += [columns.stand[p, s], columns.rigs[k, s]]
        if s > slot:
            out += [columns.keep[p, s], columns.kept[k, s]]
    if model.patterns[p].boom < 0:
        yield from ([*out, boom] for boom in booms)
    else:
        yield out


def first_come(model: Model, order: Iterable[int] | None = None) -> Floats:
    """A feasible point: shapes in the order given (by points, then as they came), each the best left.

    Groups come whole or not at all.
    """
    filling = Filling(model)
    if order is None:
        order = sorted(range(len(model.shapes)), key=lambda d: (-model.shapes[d].points, d))
    grouped: dict[str, list[int]] = defaultdict(list)
    for d, shape in enumerate(model.shapes):
        if shape.group is not None:
            grouped[shape.group].append(d)
    done: set[str] = set()
    for d in order:
        group = model.shapes[d].group
        if group is None:
            for _ in model.shapes[d].demands:
                if not _serve(filling, d):
                    break
        elif group not in done:
            done.add(group)
            _serve_group(filling, group, grouped[group])
    return filling.x


def _serve_group(filling: Filling, group: str, members: list[int]) -> None:
    taken: list[Step] = []
    for d in members:
        for _ in filling.model.shapes[d].demands:
            steps = _serve(filling, d)
            if not steps:
                filling.undo(*taken)
                return
            taken += steps
    filling.x[filling.model.columns.whole[group]] = 1.0


def _serve(filling: Filling, d: int) -> list[Step]:
    """Give one rider of the shape the best sail and board left; the steps made, none if it can't be."""
    shape, best, chosen = filling.model.shapes[d], np.inf, None
    boards = [(loss, j) for j, loss in shape.boards if filling.fits(filling.rider("board", d, j))]
    easiest = min(boards, default=(np.inf, -1))[0]
    for loss, k in sorted((loss, k) for k, loss in shape.sails):
        if loss + easiest >= best:
            break
        suited = [(more, j) for more, j in boards if goes_with(filling.model.problem, k, j)]
        sail = filling.rider("sail", d, k)
        if not suited or loss + min(suited)[0] >= best:
            continue
        steps = _on_a_rig(filling, sail, k, shape.start_min)
        if steps:
            board_loss, j = min(suited)
            best, chosen = loss + board_loss, [*steps, filling.rider("board", d, j)]
    if chosen is None:
        return []
    filling.take(*chosen)
    return chosen


def _on_a_rig(filling: Filling, sail: Step, k: int, start_min: int) -> list[Step]:
    if filling.fits(sail):
        return [sail]
    build = filling.rig_for(sail, k, start_min)
    return [] if build is None else [build, sail]
