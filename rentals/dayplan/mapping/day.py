"""A station's day as a problem to solve: who wants what, what the shed holds, when rigs are built."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, timezone
from math import ceil
from typing import Final, TypeVar

from rentals.bookings.models import Booking, KitPart, Outing
from rentals.bookings.states import NOT_YET_AFLOAT, ON_THE_WATER_OR_BACK, OutingState
from rentals.dayplan.models import Crew as CrewRow
from rentals.fleet.mapping import model_to_core
from rentals.fleet.models import Hold, Item, Kind, Rig
from rentals.fleet.states import ItemState
from rentals.people.mapping import rider_to_core
from rentals.stations.models import Station
from rigging import kit, sizing, wind
from rigging.allot.problem import (
    DAY_MIN,
    Crew,
    Demand,
    Priority,
    Problem,
    Standing,
    Stock,
    Unit,
    Window,
)
from rigging.allot.problem import Hold as Frozen
from rigging.units import BadValue

FORMULAS: Final = "2026.2"
"""Version of the rules from rows to a problem; raise it when the same rows would give another one."""

MOST_WINDOWS: Final = 6
"""Starts before which rigs are built in a day; the fewest riders' starts go without. Status: policy."""

BACK_MIN: Final = 30
"""Minutes from now by which a rider who is late is reckoned back. Status: policy."""

DAGGERBOARD_LOSS: Final = 0.2
"""Loss of a daggerboard to who planes, or of none to who learns. Status: policy."""

SOON_MIN: Final = 20
"""Kit of outings that start within so many minutes is left as it is: a rig takes longer. Status: policy."""

RIG_KINDS: Final = (Kind.SAIL, Kind.MAST, Kind.EXTENSION, Kind.BOOM)
SECONDS_PER_HOUR: Final = 3600

USUAL_CREW: Final = CrewRow(hands=2, rig_min=15, lead_min=60)
"""A crew where none is set: two people, a quarter of an hour for a rig, an hour before a start.
Status: policy; common practice, no source."""

Spec = TypeVar("Spec", kit.Sail, kit.Mast, kit.Boom, kit.Extension, kit.Board)
Span = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class DayRows:
    """What the rows say of a station's day at a moment; items are those fit to be given.

    `lessons` names, by outing, the group with which a student is served together or not at all.
    """

    station: Station
    day: date
    now: datetime
    outings: tuple[Outing, ...]
    kit: Mapping[int, Mapping[Kind, KitPart]]
    items: tuple[Item, ...]
    holds: tuple[Hold, ...]
    rigs: tuple[Rig, ...]
    hours: tuple[wind.Hour, ...]
    policy: sizing.Policy
    crew: CrewRow
    lessons: Mapping[int, str]

    @property
    def issued(self) -> frozenset[int]:
        """Outings whose kit is with the rider."""
        return frozenset(
            outing_id
            for outing_id, parts in self.kit.items()
            if any(part.issued_at and not part.returned_at for part in parts.values())
        )

    def slot(self, outing: Outing) -> wind.SlotWind | None:
        """The forecast wind of an outing, or None where no hour covers any of it."""
        try:
            return wind.slot_wind(self.hours, outing.starts_at, outing.ends_at)
        except BadValue:
            return None


@dataclass(frozen=True, slots=True)
class Aside:
    """An outing that is not put into the plan, and why."""

    outing_id: int
    why: str


@dataclass(frozen=True, slots=True)
class Other:
    """While an item is kept for something else: from the first hold's start to the last one's end."""

    start_min: int
    end_min: int
    why: str

    def joined(self, other: "Other") -> "Other":
        """Both as one: the solver counts each span of a unit as a unit of its own."""
        first, last = min(self.start_min, other.start_min), max(self.end_min, other.end_min)
        return Other(first, last, self.why)


@dataclass(frozen=True, slots=True)
class Clock:
    """Minutes of a day, counted from when the crew may begin, before the station opens."""

    origin: datetime

    @classmethod
    def of(cls, rows: DayRows) -> "Clock":
        """The clock of a station's day, at the offset that holds when it opens."""
        opens = datetime.combine(rows.day, rows.station.opens, rows.station.zone)
        return cls(
            (opens - timedelta(minutes=rows.crew.lead_min)).astimezone(
                timezone(opens.utcoffset() or timedelta())
            )
        )

    def whole(self, start: datetime, end: datetime) -> Span:
        """The least span of whole minutes around a span, cut to the day."""
        first = int((start - self.origin).total_seconds() // 60)
        last = ceil((end - self.origin).total_seconds() / 60)
        return min(max(first, 0), DAY_MIN), min(max(last, 0), DAY_MIN)

    def moment(self, minute: int) -> datetime:
        """The moment of a minute."""
        return self.origin + timedelta(minutes=minute)


def day_problem(rows: DayRows) -> tuple[Problem, tuple[Aside, ...]]:
    """Return the day that is left to plan, and the outings that are left aside."""
    clock = Clock.of(rows)
    wanted, aside = _sorted_out(rows)
    shed = Shed(rows)
    rigs = tuple(_standing(rows, shed))
    riding = _with_riders(rows, rigs, shed)
    elsewhere = _others(rows, clock, shed, {outing.pk for outing in [*wanted, *riding]})
    out = [outing for outing in riding if not _wanted_again(rows, outing, elsewhere)]
    others = _others(rows, clock, shed, {outing.pk for outing in [*wanted, *out]})
    losses = _losses(rows, [*wanted, *out], shed)
    demands = [_demand(rows, clock, outing, shed, losses) for outing in wanted]
    demands += [_afloat(rows, clock, outing, losses) for outing in out]
    now_min = clock.whole(rows.now, rows.now)[1]
    starts = [clock.whole(outing.starts_at, outing.ends_at)[0] for outing in wanted]
    aside += tuple(_barred(rows, wanted, demands))
    problem = Problem(
        station=rows.station.slug,
        origin=clock.origin,
        turn_round_min=rows.station.turn_round_min,
        crew=Crew(rows.crew.rig_min, tuple(crew_windows(starts, now_min, rows.crew))),
        sails=shed.stocks(Kind.SAIL, kit.Sail),
        masts=shed.stocks(Kind.MAST, kit.Mast),
        booms=shed.stocks(Kind.BOOM, kit.Boom),
        extensions=shed.stocks(Kind.EXTENSION, kit.Extension),
        boards=shed.stocks(Kind.BOARD, kit.Board),
        demands=tuple(_whole_groups(demands)),
        frozen=tuple(_frozen(rows, clock, others, out, rigs)),
        standing=rigs,
    )
    return problem, aside


class Shed:
    """Items that the plan may count on, by kind and model."""

    def __init__(self, rows: DayRows) -> None:
        out = {part.item_id for outing in rows.issued for part in rows.kit[outing].values()}
        found = [item for item in rows.items if item.state != ItemState.ISSUED or item.pk in out]
        couplings = {item.model.coupling for item in found if item.model.kind == Kind.BASE}
        finless = _finless(found)
        self.by_tag = {
            item.tag: item
            for item in found
            # Without a base that takes it an extension carries no rig.
            if (item.model.kind != Kind.EXTENSION or item.model.coupling in couplings)
            and item.pk not in finless
        }
        self.models: defaultdict[Kind, dict[str, list[Item]]] = defaultdict(dict)
        for item in self.by_tag.values():
            self.models[Kind(item.model.kind)].setdefault(item.model.name, []).append(item)

    def stocks(self, kind: Kind, spec: type[Spec]) -> tuple[Stock[Spec], ...]:
        """The units of a kind by model."""
        made = []
        for name, items in self.models[kind].items():
            core = model_to_core(items[0].model, name)
            if isinstance(core, spec):
                units = tuple(Unit(item.tag, item.water_s / SECONDS_PER_HOUR) for item in items)
                made.append(Stock(core, units))
        return tuple(made)

    def has(self, tags: Iterable[str]) -> bool:
        """Whether all of these are there."""
        return all(tag in self.by_tag for tag in tags)


def _finless(items: Sequence[Item]) -> frozenset[int]:
    """Boards left without a fin when the others of their box have one: second units of a model first."""
    fins = Counter(item.model.fin_box for item in items if item.model.kind == Kind.FIN)
    nth: Counter[int] = Counter()
    boards = []
    for item in items:
        if item.model.kind == Kind.BOARD:
            nth[item.model_id] += 1
            boards.append((item.state != ItemState.ISSUED, nth[item.model_id], item.model_id, item))
    without = set()
    for *_, item in sorted(boards, key=lambda each: each[:3]):
        fins[item.model.fin_box] -= 1
        if fins[item.model.fin_box] < 0:
            without.add(item.pk)
    return frozenset(without)


def crew_windows(starts: Sequence[int], from_min: int, crew: CrewRow) -> Iterator[Window]:
    """When the crew builds: all the time before the day's first start, then shortly before others."""
    counted = Counter(starts)
    first = min(counted, default=0)
    most = sorted(counted, key=lambda start: (start != first, -counted[start], start))[:MOST_WINDOWS]
    # Apart from the time just before it, so that parts which come back meanwhile can be built with.
    spans = [(from_min, first - crew.lead_min), *((start - crew.lead_min, start) for start in sorted(most))]
    free = from_min
    for start, end in spans:
        begin = max(free, start)
        if end - begin >= crew.rig_min:
            yield Window(begin, end, crew.hands)
        free = max(free, end)


def _sorted_out(rows: DayRows) -> tuple[list[Outing], tuple[Aside, ...]]:
    """Outings to plan, and those that are not: about to start on their kit, begun, or without a wind.

    A walk-in may start at once, on a rig that stands.
    """
    wanted, aside = [], []
    soon = rows.now + timedelta(minutes=SOON_MIN)
    for outing in rows.outings:
        if outing.pk in rows.issued or OutingState(outing.state) not in NOT_YET_AFLOAT:
            continue
        if outing.starts_at <= soon and outing.pk in rows.kit:
            aside.append(Aside(outing.pk, "It starts too soon to plan again: its kit stays."))
        elif outing.starts_at <= rows.now:
            aside.append(Aside(outing.pk, "It should have begun: choose the kit on the outing's page."))
        elif rows.slot(outing) is None:
            aside.append(Aside(outing.pk, "No forecast covers its time: enter the wind, then plan again."))
        else:
            wanted.append(outing)
    return wanted, tuple(aside)


def _standing(rows: DayRows, shed: Shed) -> Iterator[Standing]:
    for rig in rows.rigs:
        parts = Standing(rig.sail.tag, rig.mast.tag, rig.extension.tag, rig.boom.tag)
        if shed.has(parts.tags):
            yield parts


def _with_riders(rows: DayRows, rigs: Sequence[Standing], shed: Shed) -> list[Outing]:
    """Outings whose rider has a whole standing rig and a board."""
    standing = {rig.tags for rig in rigs}
    found = []
    for outing in rows.outings:
        parts = rows.kit.get(outing.pk, {})
        whole = all(
            kind in parts and parts[kind].issued_at and not parts[kind].returned_at
            for kind in (*RIG_KINDS, Kind.BOARD)
        )
        if (
            whole
            and outing.state in (*NOT_YET_AFLOAT, *ON_THE_WATER_OR_BACK)
            and tuple(parts[kind].item.tag for kind in RIG_KINDS) in standing
            and shed.has([parts[Kind.BOARD].item.tag])
        ):
            found.append(outing)
    return found


def _wanted_again(rows: DayRows, outing: Outing, others: Mapping[str, Other]) -> bool:
    """Whether any of the rider's kit is kept for something else too, later in the day."""
    return any(part.item.tag in others for part in rows.kit[outing.pk].values())


Losses = Mapping[int, Mapping[str, float]]


def _losses(rows: DayRows, outings: Sequence[Outing], shed: Shed) -> Losses:
    """Loss of each sail that safety allows, by outing: what it is worth less than the rider's best."""
    names = list(shed.models[Kind.SAIL])
    slots = {outing.pk: slot for outing in outings if (slot := rows.slot(outing)) is not None}
    spans = {(outing.starts_at, outing.ends_at): slots[outing.pk] for outing in outings if outing.pk in slots}
    if not (names and spans):
        return {}
    matrix = sizing.suitability(
        [shed.models[Kind.SAIL][name][0].model.area_m2 or 0.0 for name in names],
        [rider_to_core(outing.rider) for outing in outings],
        list(spans.values()),
        rows.policy,
        shores=[slot.shore(rows.station.seaward_deg) for slot in spans.values()],
        # Whether the boat is manned is the launch gate's question on the day, as where kit is chosen by hand.
        safety_boat=True,
    )
    place = {span: at for at, span in enumerate(spans)}
    found: dict[int, Mapping[str, float]] = {}
    for row, outing in enumerate(outings):
        at = place.get((outing.starts_at, outing.ends_at))
        if at is not None:
            worth = {
                name: float(matrix.utility[row, column, at])
                for column, name in enumerate(names)
                if not matrix.vetoes[row, column, at]
            }
            best = max(worth.values(), default=0.0)
            found[outing.pk] = {name: round(min(best - value, 1.0), 4) for name, value in worth.items()}
    return found


def _board_losses(outing: Outing, shed: Shed) -> dict[str, float]:
    """Loss of each board that floats the rider: how far its volume is from the middle of the usual."""
    rider = rider_to_core(outing.rider)
    usual = sizing.board_volume_l(rider)
    middle = (usual.low + usual.high) / 2
    found = {}
    for name, items in shed.models[Kind.BOARD].items():
        board = model_to_core(items[0].model, name)
        if isinstance(board, kit.Board) and sizing.board_suits(board, rider).ok:
            wrong = DAGGERBOARD_LOSS if board.daggerboard is rider.level.planes else 0.0
            found[name] = round(min(abs(board.volume_l - middle) / middle + wrong, 1.0), 4)
    return found


def _demand(rows: DayRows, clock: Clock, outing: Outing, shed: Shed, losses: Losses) -> Demand:
    start, end = clock.whole(outing.starts_at, outing.ends_at)
    is_lesson = outing.booking.kind == Booking.Kind.LESSON
    booked_today = rows.station.local(outing.booking.booked_at).date() == rows.day
    priority = Priority.WALK_IN if booked_today else Priority.PREBOOKED
    return Demand(
        id=str(outing.pk),
        start_min=start,
        end_min=end,
        priority=Priority.LESSON if is_lesson else priority,
        mass_kg=float(outing.rider.mass_kg),
        sails=losses.get(outing.pk, {}),
        boards=_board_losses(outing, shed),
        group=rows.lessons.get(outing.pk, f"party {outing.booking_id}") if is_lesson else None,
        promised=_promised(rows, outing, shed),
    )


def _barred(rows: DayRows, wanted: Sequence[Outing], demands: Sequence[Demand]) -> Iterator[Aside]:
    """Why no sail is safe for a rider: what speaks against the smallest, in the words of the kit's choice."""
    sails = [
        sail
        for item in rows.items
        if item.model.kind == Kind.SAIL
        and isinstance(sail := model_to_core(item.model, item.model.name), kit.Sail)
    ]
    smallest = min(sails, key=lambda sail: (sail.area_m2, sail.name), default=None)
    for outing, demand in zip(wanted, demands, strict=False):
        slot = rows.slot(outing)
        if smallest is not None and slot is not None and not demand.sails:
            shore = slot.shore(rows.station.seaward_deg)
            rider = rider_to_core(outing.rider)
            (advice,) = sizing.recommend(rider, [smallest], slot, rows.policy, shore=shore, safety_boat=True)
            against = " ".join(veto.text for veto in advice.vetoes)
            yield Aside(outing.pk, f"No sail is safe, not even {smallest.name}. {against}".strip())


def _promised(rows: DayRows, outing: Outing, shed: Shed) -> tuple[str, str] | None:
    """The models of sail and board that the rider has been given already."""
    parts = rows.kit.get(outing.pk, {})
    if not {Kind.SAIL, Kind.BOARD} <= parts.keys():
        return None
    sail, board = parts[Kind.SAIL].item.model.name, parts[Kind.BOARD].item.model.name
    there = sail in shed.models[Kind.SAIL] and board in shed.models[Kind.BOARD]
    return (sail, board) if there else None


def _afloat(rows: DayRows, clock: Clock, outing: Outing, losses: Losses) -> Demand:
    """The demand of a rider who has kit already; late ones are reckoned back soon."""
    start, end = _out_span(rows, clock, outing)
    return Demand(
        id=str(outing.pk),
        start_min=start,
        end_min=end,
        priority=Priority.PREBOOKED,
        mass_kg=float(outing.rider.mass_kg),
        sails=losses.get(outing.pk, {}),
        boards={},
    )


def _out_span(rows: DayRows, clock: Clock, outing: Outing) -> Span:
    late = outing.ends_at <= rows.now
    end = rows.now + timedelta(minutes=BACK_MIN) if late else outing.ends_at
    return clock.whole(outing.starts_at, end)


def _whole_groups(demands: Sequence[Demand]) -> Iterator[Demand]:
    """Demands grouped with those who can be served; who must stay ashore holds nobody back."""
    for demand in demands:
        yield demand if demand.sails and demand.boards else replace(demand, group=None)


def _frozen(
    rows: DayRows, clock: Clock, others: Mapping[str, Other], out: Sequence[Outing], rigs: Sequence[Standing]
) -> Iterator[Frozen]:
    """Holds that the plan may not touch: kit with riders, and whatever is kept for anything else."""
    for outing in out:
        start, end = _out_span(rows, clock, outing)
        for kind in (Kind.SAIL, Kind.BOARD):
            tag = rows.kit[outing.pk][kind].item.tag
            yield Frozen(tag=tag, start_min=start, end_min=end, demand=str(outing.pk))
    sail_of = {tag: rig.sail for rig in rigs for tag in rig.tags}
    kept: dict[str, Other] = {}
    for tag, other in others.items():
        unit = sail_of.get(tag, tag)
        kept[unit] = kept[unit].joined(other) if unit in kept else other
    for tag, other in kept.items():
        yield Frozen(tag=tag, start_min=other.start_min, end_min=other.end_min, why=other.why)


def _others(rows: DayRows, clock: Clock, shed: Shed, own: set[int]) -> dict[str, Other]:
    """By tag of sails, boards and parts, when they are kept for anything but these outings, from now on."""
    now_min = clock.whole(rows.now, rows.now)[0]
    tags = {item.pk: tag for tag, item in shed.by_tag.items() if item.model.kind in (*RIG_KINDS, Kind.BOARD)}
    found: dict[str, Other] = {}
    for item_id, (start, end), why in _other_spans(rows, clock, own):
        if item_id in tags and end > now_min and end > start:
            other, tag = Other(start, end, why), tags[item_id]
            found[tag] = found[tag].joined(other) if tag in found else other
    return found


def _other_spans(rows: DayRows, clock: Clock, own: set[int]) -> Iterator[tuple[int, Span, str]]:
    """Item, span and purpose of all other holds; what is still out is kept a while longer."""
    ours = {part.hold_id for outing in own for part in rows.kit.get(outing, {}).values()}
    for hold in rows.holds:
        if hold.pk not in ours:
            yield hold.item_id, clock.whole(hold.starts_at, hold.ends_at), hold.purpose
    still_out = rows.now + timedelta(minutes=BACK_MIN)
    for outing_id in sorted(rows.issued - own):
        for part in rows.kit[outing_id].values():
            if part.issued_at and not part.returned_at:
                yield part.item_id, clock.whole(part.issued_at, still_out), "still with its rider"
