"""A plan as pages and endpoints show it: riders, rigs, honest words on how good it is, and what it costs."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil
from typing import Final, NamedTuple

from rentals.bookings.models import Outing
from rentals.dayplan.models import Plan
from rentals.dayplan.states import PlanState
from rigging.allot.jsonform import Json
from rigging.drawing.daychart import Bar, Lane, Use

FITS: Final = ((10, "as good as it gets"), (35, "good"), (70, "fair"))
"""Up to how many hundredths of a loss a kit is called what. Status: policy."""

WORST_TOLD: Final = 0.5
"""From this gap on a percentage would say nothing. Status: policy."""


STOCKS: Final = ("sails", "masts", "booms", "extensions", "boards")


class Face(NamedTuple):
    """What a plan's lists need of every outing of the day."""

    outing_id: int
    starts_at: datetime
    ends_at: datetime
    state: str
    rider: str


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
    """A solved plan laid out whole."""

    quality: str
    riders: tuple[RiderRow, ...]
    short: tuple[ShortRow, ...]
    rigs: tuple[RigRow, ...]
    aside: tuple[AsideRow, ...]
    cost: Cost | None


def quality(proven: bool, gap: float, points_open: int, *, chosen: bool = False) -> str:
    """How good a plan is, in words that claim no more than was proven; `chosen` when part was set by hand."""
    if proven:
        return f"Proven: no plan of this day{' with that choice' if chosen else ''} is better."
    more = "no plan serves more" if points_open == 0 else "whether a plan serves more is not ruled out"
    if gap >= WORST_TOLD:
        return f"How near it is to the best possible is not known; {more}."
    return f"Within {max(ceil(gap * 1000), 1) / 10:g} % of the best possible; {more}."


def shown(plan: Plan, outings: Mapping[int, Outing]) -> Shown:
    """Lay a solved plan out whole.

    Args:
        plan: with inputs and result, and its basis at hand where it has one.
        outings: those of its day by id, with riders; of others nothing is shown.
    """
    layout = Layout(plan, {outing.pk: _face(outing) for outing in outings.values()})
    return Shown(
        quality=layout.quality(),
        riders=tuple(layout.rider_row(each, outings[who(each)]) for each in layout.riders()),
        short=tuple(layout.short_row(each, outings[who(each)]) for each in layout.short()),
        rigs=tuple(layout.rig_row(rig) for rig in layout.rigs()),
        aside=tuple(AsideRow(outings[outing_id], why) for outing_id, why in layout.aside()),
        cost=layout.cost(),
    )


def _face(outing: Outing) -> Face:
    return Face(outing.pk, outing.starts_at, outing.ends_at, outing.state, outing.rider.name)


def who(each: Json) -> int:
    """The outing of a line of a plan."""
    return int(each["demand"])


class Layout:
    """A solved plan by id and tag, its lists in the order in which they are shown.

    A plan is read as it was kept: its papers were checked when it was asked for, and again when solved.
    """

    def __init__(self, plan: Plan, faces: Mapping[int, Face]) -> None:
        assert plan.result is not None  # noqa: S101 - only a solved plan is laid out
        self.plan, self.faces, self.result = plan, faces, plan.result
        self.said = asides(plan)
        self.wishes: dict[int, Json] = {int(wish["id"]): wish for wish in plan.inputs["demands"]}
        self.names: dict[str, str] = {
            unit["tag"]: stock["name"]
            for kind in STOCKS
            for stock in plan.inputs[kind]
            for unit in stock["units"]
        }
        self.users: defaultdict[str, list[Json]] = defaultdict(list)
        for each in self.result["assignments"]:
            if who(each) in faces:
                self.users[each["rig"]].append(each)

    def quality(self) -> str:
        """How good the plan is."""
        proven, gap, points_open = (self.result[key] for key in ("proven", "gap", "points_open"))
        return quality(proven, gap, points_open, chosen=bool(self.plan.note))

    def kit(self) -> dict[int, tuple[str, str]]:
        """Models of sail and board by outing."""
        return {who(each): self._kit(each) for each in self.result["assignments"]}

    def _kit(self, each: Json) -> tuple[str, str]:
        return self.names[each["sail"]], self.names[each["board"]]

    def riders(self) -> list[Json]:
        """Who gets kit, by time."""
        return self._by_time(self.result["assignments"])

    def short(self) -> list[Json]:
        """Who gets none, by time."""
        return self._by_time(self.result["unserved"])

    def _by_time(self, lines: Sequence[Json]) -> list[Json]:
        found = [each for each in lines if who(each) in self.faces]
        return sorted(found, key=lambda each: (self.faces[who(each)].starts_at, who(each)))

    def rigs(self) -> list[Json]:
        """Rigs to build in the crew's order, then those that stand and are used."""
        by_id = {rig["id"]: rig for rig in self.result["rigs"]}
        standing = [rig for rig in by_id.values() if rig["stood"] and rig["id"] in self.users]
        return [*(by_id[rig_id] for rig_id in self.result["rig_up"]), *standing]

    def aside(self) -> list[tuple[int, str]]:
        """Outings that are not in the plan, and why."""
        return [
            (outing_id, why)
            for outing_id, why in self.said.items()
            if outing_id in self.faces and outing_id not in self.wishes
        ]

    def other_kit(self) -> list[tuple[int, str]]:
        """Who gets other kit than they were promised, and what; known for good once it is accepted."""
        if self.plan.state == PlanState.ACCEPTED:
            told = {each["outing_id"]: each["text"] for each in self.plan.changes}
            return [(who(each), told[who(each)]) for each in self.riders() if who(each) in told]
        # Beside a plan that nobody was told of there is nothing promised.
        lines = () if self.plan.note else self.riders()
        return [
            (who(each), f"{self._instead(each)}.")
            for each in lines
            if not each["issued"] and self._instead(each)
        ]

    def is_ruled_out(self, each: Json) -> bool:
        """Whether the wind rules out a sail that its rider has already."""
        sails = self.wishes[who(each)]["sails"]
        return bool(each["issued"] and sails and self.names[each["sail"]] not in sails)

    def names_on(self, rig_id: str) -> tuple[str, ...]:
        """Riders of a rig."""
        return tuple(self.faces[who(each)].rider for each in self.users.get(rig_id, ()))

    def rider_row(self, each: Json, outing: Outing) -> RiderRow:
        """A rider and the kit that they get."""
        sail, board = self._kit(each)
        return RiderRow(
            outing=outing,
            sail=sail,
            sail_tag=each["sail"],
            board=board,
            board_tag=each["board"],
            mismatch=each["mismatch"],
            out=each["issued"],
            ruled_out=self.is_ruled_out(each),
            instead=self._instead(each),
        )

    def _instead(self, each: Json) -> str:
        promised = self.wishes[who(each)].get("promised")
        return " and ".join(swaps((promised["sail"], promised["board"]), self._kit(each))) if promised else ""

    def short_row(self, each: Json, outing: Outing) -> ShortRow:
        """A rider who gets no rig."""
        promised = self.wishes[who(each)].get("promised") or {}
        why = self.said.get(outing.pk, each["reason"]["text"])
        had = " and ".join(promised[kind] for kind in ("sail", "board") if kind in promised)
        return ShortRow(outing, why, each.get("remedy") or "", had)

    def rig_row(self, rig: Json) -> RigRow:
        """A rig with its parts, times and riders."""
        tags = {part: rig[part] for part in ("sail", "mast", "extension", "boom")}
        starts_at, due_at = _span(rig)
        return RigRow(
            rig_id=rig["id"],
            parts=tuple(Part(part, self.names[tag], tag) for part, tag in tags.items()),
            stands=rig["stood"],
            starts_at=starts_at,
            due_at=due_at,
            needed_at=_moment(rig["needed"]),
            riders=self.names_on(rig["id"]),
        )

    def lane(self, rig: Json) -> Lane:
        """The day of a rig that somebody builds or has."""
        starts_at, due_at = _span(rig)
        bars = [Bar(starts_at, due_at, Use.BUILD, "")] if starts_at and due_at else []
        for each in self.users.get(rig["id"], ()):
            # Who is late is drawn to when they are reckoned back.
            wish, use = self.wishes[who(each)], Use.OUT if each["issued"] else Use.RIDE
            start, end = datetime.fromisoformat(wish["start"]), datetime.fromisoformat(wish["end"])
            bars.append(Bar(start, end, use, self.faces[who(each)].rider))
        label = f"{self.names[rig['sail']]} {rig['sail']}"
        return Lane(label, tuple(sorted(bars, key=lambda bar: bar.start)))

    def cost(self) -> Cost | None:
        """What the plan does beside its basis, if that was solved."""
        basis = self.plan.basis
        if basis is None or basis.result is None:
            return None
        return Cost(basis.number, tuple(_differences(Layout(basis, self.faces), self)))


def _span(rig: Json) -> tuple[datetime | None, datetime | None]:
    start, end = rig["built"] or (None, None)
    return _moment(start), _moment(end)


def _moment(written: str | None) -> datetime | None:
    return None if written is None else datetime.fromisoformat(written)


def asides(plan: Plan) -> dict[int, str]:
    """What was said of outings when the plan was asked for: why left aside, or what bars every sail."""
    return {each["outing_id"]: each["why"] for each in plan.aside}


def swaps(before: tuple[str, str], after: tuple[str, str]) -> Iterator[str]:
    """What differs between two kits, in words."""
    for kind, old, new in zip(("sail", "board"), before, after, strict=True):
        if old != new:
            yield f"{kind} {new} instead of {old}"


def _differences(before: Layout, after: Layout) -> Iterator[str]:
    old, new = before.result["score"], after.result["score"]
    yield _both("riders served", f"{old['served']:g}", f"{new['served']:g}")
    yield _both("mismatch", f"{old['mismatch'] / 100:g}", f"{new['mismatch'] / 100:g}")
    yield _both("rigs to build", f"{old['builds']:g}", f"{new['builds']:g}")
    had, has = before.kit(), after.kit()
    for outing_id in sorted({*had, *has}):
        if outing_id not in after.faces or outing_id not in after.wishes:
            continue
        rider = after.faces[outing_id].rider
        if outing_id not in has:
            yield f"{rider}: no rig any more"
        elif outing_id not in had:
            yield f"{rider}: {' and '.join(has[outing_id])}"
        elif had[outing_id] != has[outing_id]:
            yield f"{rider}: {' and '.join(swaps(had[outing_id], has[outing_id]))}"


def _both(what: str, old: str, new: str) -> str:
    return f"{what}: {new}, as before" if old == new else f"{what}: {new} instead of {old}"


def sails_for(plan: Plan, outing_id: int) -> Sequence[tuple[str, float]]:
    """Sails that are safe and of any use for a rider of a plan, the best first, each with its loss."""
    wish = next((each for each in plan.inputs["demands"] if each["id"] == str(outing_id)), None)
    useful = [(name, loss) for name, loss in wish["sails"].items() if loss < 1] if wish else []
    return sorted(useful, key=lambda each: (each[1], each[0]))
