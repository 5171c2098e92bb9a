"""Why a rider goes short, and the cheapest thing that would have served them."""

from collections import Counter
from collections.abc import Iterable, Mapping
from datetime import timedelta
from types import MappingProxyType
from typing import Final

from rigging.allot.heuristic import Filling, Step
from rigging.allot.model import Floats, Model, Source
from rigging.allot.plan import Unserved
from rigging.allot.problem import Demand, Problem
from rigging.allot.shapes import goes_with
from rigging.reason import COMMON_PRACTICE, POLICY, Input, Reason

COST: Final[Mapping[str, float]] = MappingProxyType(
    {"crew": 0.5, "extensions": 1.0, "booms": 3.0, "masts": 4.0, "sails": 6.0, "boards": 12.0}
)
"""What one more of each costs beside the others: which change is cheapest. Status: policy."""

CREW: Final = "crew"
"""The source that is not a stock."""

WORDS: Final[Mapping[str, str]] = MappingProxyType(
    {"extensions": "extension", "booms": "boom", "masts": "mast", "sails": "sail", "boards": "board"}
)


def unserved(model: Model, x: Floats, served: set[str]) -> tuple[Unserved, ...]:
    """Every demand that is not served, with reason and remedy: others keep what they have."""
    issued = {hold.demand for hold in model.problem.frozen}
    short = [d for d in model.problem.demands if d.id not in served and d.id not in issued]
    if not short:
        return ()
    shape_of = {index: d for d, shape in enumerate(model.shapes) for index in shape.demands}
    at = {demand.id: index for index, demand in enumerate(model.problem.demands)}
    members: dict[str, list[int]] = {}
    for demand in short:
        members.setdefault(demand.group or demand.id, []).append(shape_of[at[demand.id]])
    shortages = Shortages(model, x)
    return tuple(_explained(shortages, demand, members[demand.group or demand.id]) for demand in short)


class Shortages:
    """What a finished day lacks for a rider more."""

    def __init__(self, model: Model, x: Floats) -> None:
        self.model = model
        self.filling = Filling(model, x)
        self._known: dict[tuple[int, ...], Counter[Source] | None] = {}

    def lack(self, shapes: list[int]) -> Counter[Source] | None:
        """The cheapest units to add that serve these riders beside all others; None if nothing does."""
        key = tuple(shapes)
        if key not in self._known:
            room = self.filling.room.copy()
            self._known[key] = self._lack(shapes)
            self.filling.room = room
        return self._known[key]

    def _lack(self, shapes: list[int]) -> Counter[Source] | None:
        lacking: Counter[Source] = Counter()
        for d in shapes:
            best = min(self._ways(d), key=lambda way: (_cost(way[0]), way[1]), default=None)
            if best is None:
                return None
            lacking += best[0]
            self._add(best[0], best[2])
        return lacking

    def _add(self, lacking: Counter[Source], steps: tuple[Step, ...]) -> None:
        for row, source in self.model.sources.items():
            self.filling.room[row] += lacking[source]
        self.filling.take(steps)

    def _ways(self, d: int) -> Iterable[tuple[Counter[Source], float, tuple[Step, ...]]]:
        shape = self.model.shapes[d]
        boards = [(j, loss, *self._missing((self.filling.rider("board", d, j),))) for j, loss in shape.boards]
        for k, loss in shape.sails:
            sail = self._sail(d, k, shape.start_min)
            suited = [b for b in boards if goes_with(self.model.problem, k, b[0])]
            if sail is not None and suited:
                _, more, missing, steps = min(suited, key=lambda b: (_cost(b[2]), b[1]))
                yield sail[0] + missing, loss + more, sail[1] + steps

    def _sail(self, d: int, k: int, start_min: int) -> tuple[Counter[Source], tuple[Step, ...]] | None:
        step = self.filling.rider("sail", d, k)
        if self.filling.fits(step):
            return Counter(), (step,)
        builds = [b for b in self.filling.builds(k) if self.model.slots[b.slot].end_min <= start_min]
        ways = [self._missing((build.step, step)) for build in builds]
        return min(ways, key=lambda way: _cost(way[0]), default=None)

    def _missing(self, steps: tuple[Step, ...]) -> tuple[Counter[Source], tuple[Step, ...]]:
        use: Counter[int] = Counter()
        for step in steps:
            for row, amount in step.use.items():
                use[row] += round(amount)
        out: Counter[Source] = Counter()
        for row, amount in use.items():
            over = amount - round(self.filling.room[row])
            if over > 0 and (source := self.model.sources.get(row)) is not None:
                out[source] = max(out[source], over)
        return out, steps


def _cost(lacking: Counter[Source]) -> float:
    return sum(COST[kind] * units for (kind, _), units in lacking.items())


def _explained(shortages: Shortages, demand: Demand, members: list[int]) -> Unserved:
    problem = shortages.model.problem
    barred = _barred(shortages.model, demand)
    if barred is not None:
        return Unserved(demand=demand.id, reason=barred)
    lacking = shortages.lack(members)
    if lacking is None and demand.group is None:
        text = "No rig that suits is free then, and none can be built before the start."
        return Unserved(demand=demand.id, reason=Reason(text, "rigs are built before they are taken", POLICY))
    if lacking is None:
        text = "Somebody of the group can't be served, and the group stays together."
        return Unserved(demand=demand.id, reason=Reason(text, "groups go together", POLICY))
    if not lacking:
        text = "Kit is free, but no rig stands for the whole outing: the crew would have to keep one up."
        return Unserved(demand=demand.id, reason=Reason(text, "rigs stand between slots", POLICY))
    span = f"{clock(problem, demand.start_min)}-{clock(problem, demand.end_min)}"
    together = f" for the {len(members)} of the group" if demand.group and len(members) > 1 else ""
    short_of = ", ".join(_nothing_left(problem, source) for source in sorted(lacking))
    rule = "riders by priority, then mismatch, within the units of every part"
    inputs = tuple(Input(_name(problem, source), units, "more") for source, units in sorted(lacking.items()))
    return Unserved(
        demand=demand.id,
        reason=Reason(f"{span}{together}: {short_of}.", rule, COMMON_PRACTICE, inputs),
        remedy=remedy(problem, lacking, demand.start_min),
    )


def remedy(problem: Problem, lacking: Counter[Source], before_min: int) -> str:
    """The change in words: what to add, by when."""
    parts = [_more(problem, source, units) for source, units in sorted(lacking.items())]
    return f"{' and '.join(parts)} before {clock(problem, before_min)}"


def _more(problem: Problem, source: Source, units: int) -> str:
    if source[0] == CREW:
        return f"{units * problem.crew.rig_min} more minutes of the crew"
    return f"{'one' if units == 1 else units} more {_name(problem, source)}"


def _nothing_left(problem: Problem, source: Source) -> str:
    if source[0] == CREW:
        return f"the crew has no {problem.crew.rig_min} minutes left to build a rig"
    return f"no {_name(problem, source)} is left"


def _name(problem: Problem, source: Source) -> str:
    kind, index = source
    if kind == CREW:
        return "rig by the crew"
    return f"{dict(problem.stocks())[kind][index].name} {WORDS[kind]}"


def clock(problem: Problem, minute: int) -> str:
    """A minute of the day as the station's clock shows it."""
    return (problem.origin + timedelta(minutes=minute)).strftime("%H:%M")


def _barred(model: Model, demand: Demand) -> Reason | None:
    """Why no number of units serves the rider, if that is so."""
    problem = model.problem
    kg = Input("mass", demand.mass_kg, "kg")
    if not demand.sails or not demand.boards:
        kind = "board" if demand.sails else "sail"
        text = (
            f"No {kind} of the shed is safe for {demand.mass_kg:g} kg in this wind; safety is never traded."
        )
        return Reason(text, "safety veto", POLICY, (kg,))
    sails = {k for k, stock in enumerate(problem.sails) if stock.name in demand.sails}
    made = {pattern.sail for pattern in model.patterns}
    if not sails & made:
        text = "None of the sails that suit has a mast, extension and boom in the shed that fit it."
        return Reason(text, "parts must fit", COMMON_PRACTICE, (kg,))
    ready = min(slot.end_min for slot in model.slots)
    if ready > demand.start_min and not sails & {
        model.patterns[p].sail for p, s in model.columns.stand if s < 0
    }:
        start, first = clock(problem, demand.start_min), clock(problem, ready)
        text = f"The outing starts at {start}; no rig is ready before {first}."
        return Reason(text, "rigs are built before they are taken", POLICY)
    boards = {j for j, stock in enumerate(problem.boards) if stock.name in demand.boards and stock.units}
    if not any(goes_with(problem, k, j) for k in sails & made for j in boards):
        text = "None of the boards that suit carries a sail that suits."
        return Reason(text, "board and sail go together", COMMON_PRACTICE, (kg,))
    return None
