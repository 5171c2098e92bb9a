"""Check a plan against its problem, knowing nothing of how it was made.

Written from the rules of the trade and the day, not from the solver: it shares only the plain data.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Final

from rigging.allot.plan import Assignment, Plan, Rig
from rigging.allot.problem import Demand, Problem
from rigging.kit import BendCurve, Board, Boom, Diameter, Extension, Head, Mast, Sail

Span = tuple[int, int, str]

PARTS: Final = ("sail", "mast", "extension", "boom")
IMCS_APART: Final = 2.0
"""As the trade's fit has it; stated again so that an error there shows here."""
WORTH: Final = {"lesson": 10, "prebooked": 5, "walk_in": 2}
WORTH_FIRM: Final = 20
CHANGED: Final = {"sail": 100, "board": 50}
CLOSE: Final = 1e-6
"""Relative error allowed in a stated value."""
ALWAYS: Final = 10**7


def violations(problem: Problem, plan: Plan) -> tuple[str, ...]:
    """Every rule that the plan breaks, each as a sentence; empty when it keeps them all."""
    day = Day(problem, plan)
    return tuple(
        sentence
        for rule in (
            day.known,
            day.once,
            day.fits,
            day.riders,
            day.groups,
            day.units,
            day.crew,
            day.issued,
            day.score,
        )
        for sentence in rule()
    )


class Day:
    """The problem's facts by name and tag, beside the plan."""

    def __init__(self, problem: Problem, plan: Plan) -> None:
        self.problem, self.plan = problem, plan
        self.demands = {demand.id: demand for demand in problem.demands}
        self.rigs = {rig.id: rig for rig in plan.rigs}
        self.spec = {
            unit.tag: stock.spec for _, stocks in problem.stocks() for stock in stocks for unit in stock.units
        }
        self.kind = {
            unit.tag: kind.removesuffix("s")
            for kind, stocks in problem.stocks()
            for stock in stocks
            for unit in stock.units
        }

    def known(self) -> Iterator[str]:
        """Names and tags are of this problem; the rules after this one pass over what is not."""
        for assignment in self.plan.assignments:
            if assignment.demand not in self.demands:
                yield f"{assignment.demand} is no demand of the day"
            if self.kind.get(assignment.board) != "board":
                yield f"{assignment.demand}: {assignment.board} is no board of the shed"
            rig = self.rigs.get(assignment.rig)
            if rig is None or rig.sail != assignment.sail:
                yield f"{assignment.demand}: rig {assignment.rig} does not carry sail {assignment.sail}"
        for rig in self.plan.rigs:
            for part in PARTS:
                if self.kind.get(getattr(rig, part)) != part:
                    yield f"rig {rig.id}: {getattr(rig, part)} is no {part} of the shed"

    def served(self) -> Iterator[tuple[Assignment, Demand, Rig]]:
        """Assignments whose every name is known."""
        for assignment in self.plan.assignments:
            rig, demand = self.rigs.get(assignment.rig), self.demands.get(assignment.demand)
            if rig and demand and rig.sail in self.spec and assignment.board in self.spec:
                yield assignment, demand, rig

    def once(self) -> Iterator[str]:
        """No rider twice, no rig number twice, everybody served or listed as unserved."""
        for what, names in (
            ("rider", [a.demand for a in self.plan.assignments]),
            ("rig", [rig.id for rig in self.plan.rigs]),
        ):
            for name, times in Counter(names).items():
                if times > 1:
                    yield f"{what} {name} is in the plan {times} times"
        served = {a.demand for a in self.plan.assignments}
        short = {u.demand for u in self.plan.unserved}
        for name in sorted(self.demands.keys() - served - short):
            yield f"{name} is neither served nor listed as unserved"
        for name in sorted(served & short):
            yield f"{name} is served and listed as unserved"

    def fits(self) -> Iterator[str]:
        """The parts of every rig the crew builds go together."""
        for rig in self.plan.rigs:
            sail, mast, extension, boom = (self.spec.get(getattr(rig, part)) for part in PARTS)
            if not rig.stood and (
                isinstance(sail, Sail)
                and isinstance(mast, Mast)
                and isinstance(extension, Extension)
                and isinstance(boom, Boom)
            ):
                yield from (f"rig {rig.id}: {misfit}" for misfit in misfits(sail, mast, extension, boom))

    def riders(self) -> Iterator[str]:
        """Nobody has what safety vetoes, a board that does not carry the sail, or a mismatch told wrong."""
        for assignment, demand, rig in self.served():
            if assignment.issued:
                continue
            sail, board = self.spec[rig.sail], self.spec[assignment.board]
            if sail.name not in demand.sails:
                yield f"{demand.id}: {sail.name} is vetoed"
            elif board.name not in demand.boards:
                yield f"{demand.id}: {board.name} is vetoed"
            elif assignment.mismatch != _hundredths(demand.sails[sail.name]) + _hundredths(
                demand.boards[board.name]
            ):
                yield f"{demand.id}: mismatch {assignment.mismatch} is not that of the sail and the board"
            if assignment.change != _changed(demand, sail.name, board.name):
                yield f"{demand.id}: the cost of the changed promise is not {assignment.change}"
            if isinstance(board, Board) and isinstance(sail, Sail) and not _carries(board, sail):
                yield f"{demand.id}: {board.name} does not carry {sail.area_m2} m2"
            start, end = self._while(demand)
            if (rig.ready_min is not None and start < rig.ready_min) or (
                rig.until_min is not None and end > rig.until_min
            ):
                yield f"{demand.id}: rig {rig.id} does not stand throughout"

    def groups(self) -> Iterator[str]:
        """Groups are whole."""
        served = {a.demand for a in self.plan.assignments}
        for group in sorted({d.group for d in self.problem.demands if d.group}):
            members = [d.id for d in self.problem.demands if d.group == group]
            there = [name for name in members if name in served]
            if there and len(there) < len(members):
                yield f"group {group}: {len(there)} of {len(members)} are served"

    def units(self) -> Iterator[str]:
        """No unit in two places: riders on sails and boards, rigs on parts, and frozen holds."""
        spans: dict[str, list[Span]] = defaultdict(list)
        for assignment, demand, rig in self.served():
            if not assignment.issued:
                start, end = self._while(demand)
                spans[assignment.board].append((start, end, demand.id))
                spans[rig.id].append((start, end, demand.id))
        standing = {rig.sail: rig.id for rig in self.plan.rigs if rig.stood}
        for hold in self.problem.frozen:
            turn = self.problem.turn_round_min if hold.demand else 0
            spans[standing.get(hold.tag, hold.tag)].append(
                (hold.start_min, hold.end_min + turn, "a frozen hold")
            )
        for rig in self.plan.rigs:
            for part in PARTS:
                spans[getattr(rig, part)].append((*self._up(rig), f"rig {rig.id}"))
        for tag, taken in spans.items():
            yield from overlaps(tag, taken)

    def crew(self) -> Iterator[str]:
        """Every built rig has a builder in a window, and no builder has two at once."""
        crew = self.problem.crew
        busy: dict[str, list[Span]] = defaultdict(list)
        for rig in self.plan.rigs:
            if rig.stood or crew.windows is None:
                continue
            if rig.built_min is None or rig.hand is None or rig.ready_min is None:
                yield f"rig {rig.id} has no builder"
                continue
            start, end = rig.built_min
            busy[f"builder {rig.hand}"].append((start, end, f"rig {rig.id}"))
            if end - start != crew.rig_min or rig.ready_min < end:
                yield f"rig {rig.id} is ready before it is built"
            if not any(
                w.start_min <= start and end <= w.end_min and rig.hand <= w.hands for w in crew.windows
            ):
                yield f"rig {rig.id} is built when the crew does not work"
        for hand, taken in busy.items():
            yield from overlaps(hand, taken)

    def issued(self) -> Iterator[str]:
        """What is issued stays issued, on rigs that stand."""
        stood = {(rig.sail, rig.mast, rig.extension, rig.boom) for rig in self.plan.rigs if rig.stood}
        listed = {rig.tags for rig in self.problem.standing}
        for tags in sorted(stood - listed):
            yield f"a rig of {', '.join(tags)} does not stand"
        for tags in sorted(listed - stood):
            yield f"the standing rig of {', '.join(tags)} is missing"
        out = {(hold.demand, hold.tag) for hold in self.problem.frozen if hold.demand}
        plan = {(a.demand, tag) for a in self.plan.assignments if a.issued for tag in (a.sail, a.board)}
        for demand, tag in sorted((out - plan) | (plan - out)):
            yield f"{demand}: {tag} is issued, and the plan says otherwise"

    def score(self) -> Iterator[str]:
        """The stated numbers are those of the plan, and the bound is not above the value."""
        score, served = self.plan.score, {a.demand for a in self.plan.assignments}
        short = sum(
            WORTH[d.priority] + WORTH_FIRM * (d.firm or d.promised is not None)
            for d in self.problem.demands
            if d.id not in served
        )
        builds = sum(not rig.stood for rig in self.plan.rigs)
        for name, stated, counted in (
            ("served", score.served, len(served)),
            ("points short", score.points_short, short),
            ("mismatch", score.mismatch, sum(a.mismatch for a in self.plan.assignments)),
            ("change", score.change, sum(a.change for a in self.plan.assignments)),
            ("builds", score.builds, builds),
            ("crew minutes", score.crew_min, builds * self.problem.crew.rig_min),
        ):
            if stated != counted:
                yield f"{name}: the plan says {stated}, and it is {counted}"
        if self.plan.bound > score.value + CLOSE * abs(score.value):
            yield f"the bound {self.plan.bound} is above the value {score.value}"

    def _while(self, demand: Demand) -> tuple[int, int]:
        return demand.start_min, demand.end_min + self.problem.turn_round_min

    def _up(self, rig: Rig) -> tuple[int, int]:
        """While a rig has its parts: from the start of its building to its coming down."""
        start = rig.built_min[0] if rig.built_min else -ALWAYS
        return start, ALWAYS if rig.until_min is None else rig.until_min


def _hundredths(loss: float) -> int:
    return round(100 * loss)


def _changed(demand: Demand, sail: str, board: str) -> int:
    if demand.promised is None:
        return 0
    told = dict(zip(("sail", "board"), demand.promised, strict=True))
    return sum(CHANGED[part] for part, name in (("sail", sail), ("board", board)) if told[part] != name)


def _carries(board: Board, sail: Sail) -> bool:
    return board.sail_min_m2 <= sail.area_m2 <= board.sail_max_m2


def overlaps(name: str, spans: Sequence[Span]) -> Iterator[str]:
    """Neighbours in time that share a minute."""
    ordered = sorted(spans)
    for (_, end, one), (start, _, other) in pairwise(ordered):
        if start < end:
            yield f"{name} is with {one} and with {other} at once"


def misfits(sail: Sail, mast: Mast, extension: Extension, boom: Boom) -> Iterator[str]:
    """What keeps four parts from being a rig."""
    if mast.diameter not in sail.diameters or extension.diameter != mast.diameter:
        yield f"a {mast.diameter} mast does not go with the sail and a {extension.diameter} extension"
    if mast.diameter not in boom.clamps and not (boom.shim and mast.diameter is Diameter.RDM):
        yield f"the boom does not clamp a {mast.diameter} mast"
    if abs(mast.imcs - sail.imcs) > IMCS_APART:
        yield f"stiffness index {mast.imcs} is not within {IMCS_APART} of {sail.imcs}"
    curves = list(BendCurve)
    if abs(curves.index(mast.curve) - curves.index(sail.curve)) > 1:
        yield f"a {mast.curve} mast does not bend as a {sail.curve} sail needs"
    if not boom.min_cm <= sail.boom_cm <= boom.max_cm:
        yield f"a boom of {boom.min_cm}-{boom.max_cm} cm is not {sail.boom_cm} cm"
    yield from _luff(sail, mast, extension)


def _luff(sail: Sail, mast: Mast, extension: Extension) -> Iterator[str]:
    gap_cm = sail.luff_cm - mast.length_cm
    collar_cm = extension.min_cm
    while collar_cm < gap_cm:
        collar_cm += extension.step_cm
    if collar_cm > extension.max_cm:
        yield f"{gap_cm} cm of extension are needed, and it gives {extension.max_cm}"
    strap_cm = sail.head_strap_cm if sail.head is Head.ADJUSTABLE else 0.0
    if extension.min_cm - gap_cm > strap_cm:
        yield f"the mast is {extension.min_cm - gap_cm} cm too long, and the head strap takes {strap_cm}"
