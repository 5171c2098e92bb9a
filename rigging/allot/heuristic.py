"""A good day at once: riders in order, each given the best that is still free, building rigs as needed."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from rigging.allot.model import BEFORE, Floats, Model
from rigging.allot.shapes import goes_with


@dataclass(frozen=True, slots=True)
class Step:
    """Columns to raise by one, and what that uses of the room in rows; less than none where it makes room."""

    columns: tuple[int, ...]
    use: dict[int, float]


@dataclass(frozen=True, slots=True)
class Build:
    """A rig of one pattern built in a slot and standing to the end of the day."""

    slot: int
    step: Step
    scarce: tuple[int, ...]


class Filling:
    """A point of the model, and the room that it leaves in every row.

    Plain lists and dicts: a step touches a dozen rows, too few for arrays to pay.
    """

    def __init__(self, model: Model, x: Floats) -> None:
        self.model = model
        self.x: list[float] = x.tolist()
        self.room: list[float] = (model.row_high - model.matrix @ x).tolist()
        self._columns = Columnwise(model)
        self._builds: dict[int, tuple[Build, ...]] = {}
        self._riders: dict[int, Step] = {}

    def fits(self, step: Step, beside: Step | None = None) -> bool:
        """Whether the rows have room for the step, or for the step beside another that fits alone."""
        room = self.room
        if beside is None:
            return all(room[row] >= use for row, use in step.use.items())
        other = beside.use
        return all(room[row] >= use + other.get(row, 0.0) for row, use in step.use.items())

    def take(self, steps: Iterable[Step]) -> None:
        """Make the steps."""
        self._move(steps, 1.0)

    def undo(self, steps: Iterable[Step]) -> None:
        """Take the steps back."""
        self._move(steps, -1.0)

    def _move(self, steps: Iterable[Step], sign: float) -> None:
        for step in steps:
            for column in step.columns:
                self.x[column] += sign
            for row, use in step.use.items():
                self.room[row] -= sign * use

    def rider(self, kind: str, d: int, index: int) -> Step:
        """One rider of a shape on a sail or a board, without the rows that tie the two together."""
        column = (self.model.columns.sail if kind == "sail" else self.model.columns.board)[d, index]
        if column not in self._riders:
            self._riders[column] = self._columns.step((column,), limits_only=True)
        return self._riders[column]

    def builds(self, k: int) -> tuple[Build, ...]:
        """Every way to build one more rig of a sail."""
        if k not in self._builds:
            self._builds[k] = tuple(_builds(self.model, self._columns, k))
        return self._builds[k]

    def left_up(self, p: int) -> Step:
        """One more rig of a pattern that stood before the day, up to its end."""
        columns, k = self.model.columns, self.model.patterns[p].sail
        parts = (columns.stand, columns.keep), (columns.rigs, columns.kept)
        slots = range(len(self.model.slots))
        return self._columns.step(
            tuple(of[at, s] for s in slots for at, pair in zip((p, k), parts, strict=True) for of in pair)
        )

    def rig_for(self, step: Step, k: int, start_min: int) -> Step | None:
        """The build that makes room for the step with the most parts left over, if there is one."""
        best, most = None, -np.inf
        for build in self.builds(k):
            left = min((self.room[row] for row in build.scarce), default=np.inf)
            if (
                left > most
                and self.model.slots[build.slot].end_min <= start_min
                and self.fits(build.step)
                and self.fits(step, build.step)
            ):
                best, most = build.step, left
        return best


class Columnwise:
    """The model's matrix as rows and entries by column, for steps of a few columns."""

    def __init__(self, model: Model) -> None:
        self._starts: list[int] = model.matrix.indptr.tolist()
        self._rows: list[int] = model.matrix.indices.tolist()
        self._entries: list[float] = model.matrix.data.tolist()
        self._limit: list[bool] = np.isneginf(model.row_low).tolist()

    def step(self, columns: tuple[int, ...], *, limits_only: bool = False) -> Step:
        """The step that raises the columns; equations may be left out, limits never."""
        use: dict[int, float] = {}
        for column in columns:
            for at in range(self._starts[column], self._starts[column + 1]):
                row = self._rows[at]
                if self._limit[row] or not limits_only:
                    use[row] = use.get(row, 0.0) + self._entries[at]
        return Step(columns, {row: amount for row, amount in use.items() if amount})


def nobody_served(model: Model) -> Floats:
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


def left_standing(model: Model, x: Floats) -> Floats:
    """The whole point with every rig that stands left up to the end of the day where it is in nobody's way.

    Taking down what nobody needs costs the day nothing, so a solver may; a walk-in could still want it.
    """
    filling = Filling(model, x)
    for (p, s), before in model.columns.stand.items():
        if s == BEFORE:
            step = filling.left_up(p)
            for _ in range(round(x[before])):
                if filling.fits(step) and all(filling.x[c] < model.high[c] for c in step.columns):
                    filling.take([step])
    return np.array(filling.x)


def _builds(model: Model, by_column: Columnwise, k: int) -> Iterator[Build]:
    booms = [column for (of, _), column in model.columns.boom.items() if of == k]
    numbers = [p for p, pattern in enumerate(model.patterns) if pattern.sail == k]
    for s, slot in enumerate(model.slots):
        if slot.seats is not None and not slot.seats:
            continue
        for p in numbers:
            for columns in _standing_from(model, p, k, s, booms):
                step = by_column.step(tuple(columns))
                yield Build(s, step, tuple(row for row, use in step.use.items() if use > 0))


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


def first_come(model: Model) -> Floats:
    """A feasible point: riders by points, then as they came, each the best left; groups whole or not."""
    return completed(model, nobody_served(model))


def completed(model: Model, x: Floats) -> Floats:
    """A feasible point, and whoever it leaves unserved given the best left where that can be."""
    filling = Filling(model, x)
    grouped: dict[str, list[int]] = defaultdict(list)
    for d, shape in enumerate(model.shapes):
        if shape.group is not None:
            grouped[shape.group].append(d)
    done = {group for group, column in model.columns.whole.items() if x[column] > 0}
    for d in sorted(range(len(model.shapes)), key=lambda d: (-model.shapes[d].points, d)):
        shape = model.shapes[d]
        if shape.group is None:
            served = round(sum(x[model.columns.sail[d, k]] for k, _ in shape.sails))
            for _ in shape.demands[served:]:
                if not _serve(filling, d):
                    break
        elif shape.group not in done:
            done.add(shape.group)
            _serve_group(filling, shape.group, grouped[shape.group])
    return np.array(filling.x)


def _serve_group(filling: Filling, group: str, members: list[int]) -> None:
    taken: list[Step] = []
    for d in members:
        for _ in filling.model.shapes[d].demands:
            steps = _serve(filling, d)
            if not steps:
                filling.undo(taken)
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
    filling.take(chosen)
    return chosen


def _on_a_rig(filling: Filling, sail: Step, k: int, start_min: int) -> list[Step]:
    if filling.fits(sail):
        return [sail]
    build = filling.rig_for(sail, k, start_min)
    return [] if build is None else [build, sail]
