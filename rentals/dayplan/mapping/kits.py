"""A solved plan as kit: every item of every outing, whether it can still be had, and whom to tell what."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from rentals.bookings.models import Outing
from rentals.bookings.states import NOT_YET_AFLOAT
from rentals.dayplan.mapping.day import RIG_KINDS, Clock, DayRows, Shed
from rentals.fleet.mapping import item_to_core
from rentals.fleet.models import WORN, Item, Kind
from rentals.people.mapping import rider_to_core
from rentals.rigs import queries as rigs
from rigging import kit, sizing, wind
from rigging.allot.plan import Assignment, Plan, Rig
from rigging.allot.problem import Problem

USUALLY_WORN = (Kind.BUOYANCY_AID, Kind.WETSUIT)


@dataclass(frozen=True, slots=True)
class Given:
    """What a plan gives to one outing. No base among the items says that none is left for the rig."""

    outing: Outing
    items: Mapping[Kind, Item]

    def advice(self, rows: DayRows, slot: wind.SlotWind) -> sizing.Recommendation:
        """What is said of the sail in the wind as it is forecast now."""
        shore = slot.shore(rows.station.seaward_deg)
        rider, sail = rider_to_core(self.outing.rider), rigs.sail_of(self.items[Kind.SAIL])
        (advice,) = sizing.recommend(rider, [sail], slot, rows.policy, shore=shore, safety_boat=True)
        return advice

    @property
    def fit(self) -> kit.Fit:
        """Whether the parts make a rig."""
        named = {kind.value: item_to_core(self.items[kind]) for kind in (*RIG_KINDS, Kind.BASE)}
        return kit.fit(**named)  # type: ignore[arg-type]


class Rack:
    """What is free when, beside the kit of the outings that the plan speaks of."""

    def __init__(self, rows: DayRows, planned: set[int]) -> None:
        self.turn_round = timedelta(minutes=rows.station.turn_round_min)
        self.shed = Shed(rows)
        own = {part.hold_id for outing in planned for part in rows.kit.get(outing, {}).values()}
        self._taken: defaultdict[int, list[tuple[datetime, datetime]]] = defaultdict(list)
        for hold in rows.holds:
            if hold.pk not in own:
                self._taken[hold.item_id].append((hold.starts_at, hold.ends_at))

    def span(self, outing: Outing) -> tuple[datetime, datetime]:
        """While an outing keeps its kit."""
        return outing.starts_at, outing.ends_at + self.turn_round

    def is_free(self, item: Item, span: tuple[datetime, datetime]) -> bool:
        """Whether nobody has the item in a span."""
        return all(end <= span[0] or start >= span[1] for start, end in self._taken[item.pk])

    def take(self, item: Item, span: tuple[datetime, datetime]) -> None:
        """Keep an item."""
        self._taken[item.pk].append(span)

    def free(self, kind: Kind, span: tuple[datetime, datetime]) -> list[list[Item]]:
        """Free units of a kind by model, the least worn first."""
        groups = (
            [item for item in items if self.is_free(item, span)] for items in self.shed.models[kind].values()
        )
        return [group for group in groups if group]


def to_hand_out(plan: Plan) -> list[Assignment]:
    """The assignments that give kit out; the others have it already."""
    return [assignment for assignment in plan.assignments if not assignment.issued]


def kits_of(rows: DayRows, plan: Plan, outings: Mapping[int, Outing], planned: set[int]) -> list[Given]:
    """Return what each outing of a plan is given, in order of time.

    Args:
        rows: the day as it stands.
        plan: the plan; its tags are in the shed.
        outings: those it hands kit to, by id.
        planned: ids of all outings that it speaks of, whose old kit is let go.
    """
    rack = Rack(rows, planned)
    by_rig = {rig.id: rig for rig in plan.rigs}
    handed = sorted(
        to_hand_out(plan), key=lambda each: (outings[int(each.demand)].starts_at, int(each.demand))
    )
    bases = _bases(rows, rack, by_rig, handed, outings)
    found: dict[int, dict[Kind, Item]] = {}
    for each in handed:
        tags = dict(zip(RIG_KINDS, _parts(by_rig[each.rig]), strict=True)) | {Kind.BOARD: each.board}
        items = {kind: rack.shed.by_tag[tag] for kind, tag in tags.items()}
        if each.rig in bases:
            items[Kind.BASE] = bases[each.rig]
        found[int(each.demand)] = items
        _keep_worn(rows, rack, outings[int(each.demand)], items)
    for outing_id, items in found.items():
        _add_small_things(rows, rack, outings[outing_id], items)
    return [Given(outings[outing_id], items) for outing_id, items in found.items()]


def _parts(rig: Rig) -> tuple[str, str, str, str]:
    return rig.sail, rig.mast, rig.extension, rig.boom


def _bases(
    rows: DayRows,
    rack: Rack,
    by_rig: Mapping[str, Rig],
    handed: Sequence[Assignment],
    outings: Mapping[int, Outing],
) -> dict[str, Item]:
    """A base for each rig from its first rider to its last; a rig that stands has one already."""
    spans: dict[str, tuple[datetime, datetime]] = {}
    for each in handed:
        start, end = rack.span(outings[int(each.demand)])
        first, last = spans.get(each.rig, (start, end))
        spans[each.rig] = (min(first, start), max(last, end))
    standing = {rig.sail.tag: rig.base for rig in rows.rigs}
    in_rigs = {base.pk for base in standing.values()}
    found: dict[str, Item] = {}
    for rig_id, span in spans.items():
        rig = by_rig[rig_id]
        coupling = rack.shed.by_tag[rig.extension].model.coupling
        free = [item for group in rack.free(Kind.BASE, span) for item in group]
        fitting = [item for item in free if item.model.coupling == coupling]
        own = standing[rig.sail].pk if rig.stood and rig.sail in standing else None
        base = min(
            fitting,
            key=lambda item: (item.pk != own, item.pk in in_rigs, item.water_s, item.tag),
            default=None,
        )
        if base is not None:
            rack.take(base, span)
            found[rig_id] = base
    return found


def _keep_worn(rows: DayRows, rack: Rack, outing: Outing, items: dict[Kind, Item]) -> None:
    """What the rider was given to wear stays theirs."""
    span = rack.span(outing)
    for kind, part in rows.kit.get(outing.pk, {}).items():
        if kind in WORN and part.item.tag in rack.shed.by_tag and rack.is_free(part.item, span):
            items[kind] = part.item
            rack.take(part.item, span)


def _add_small_things(rows: DayRows, rack: Rack, outing: Outing, items: dict[Kind, Item]) -> None:
    """The board's fin, and where there was no kit yet an aid and a suit of the rider's size."""
    span = rack.span(outing)
    fins = [group[0] for group in rack.free(Kind.FIN, span)]
    fin = rigs.fin_for(items[Kind.BOARD], items[Kind.SAIL].model.area_m2 or 0.0, fins)
    chosen = {Kind.FIN: fin}
    if outing.pk not in rows.kit:
        for kind in USUALLY_WORN:
            first = rigs.worn_first(rack.free(kind, span), outing)
            chosen[kind] = next((item for item in first if rigs.fits_to_wear(item, outing)), None)
    for kind, item in chosen.items():
        if item is not None:
            items[kind] = item
            rack.take(item, span)


def changed_since(
    rows: DayRows, problem: Problem, plan: Plan, outings: Mapping[int, Outing], planned: set[int]
) -> Iterator[str]:
    """Sentences on what is not any more as it was when the plan was made."""
    clock, rack = Clock.of(rows), Rack(rows, planned)
    demands = {demand.id: demand for demand in problem.demands}
    by_rig = {rig.id: rig for rig in plan.rigs}
    standing = {(rig.sail.tag, rig.mast.tag, rig.extension.tag, rig.boom.tag) for rig in rows.rigs}
    gone: dict[str, str] = {}
    for each in to_hand_out(plan):
        outing, demand, rig = outings[int(each.demand)], demands[each.demand], by_rig[each.rig]
        span = clock.whole(outing.starts_at, outing.ends_at)
        if outing.state not in NOT_YET_AFLOAT:
            yield f"{outing.rider} is {outing.state.replace('_', ' ')}."
        elif outing.pk in rows.issued:
            yield f"{outing.rider} has kit already."
        elif span != (demand.start_min, demand.end_min) or float(outing.rider.mass_kg) != demand.mass_kg:
            yield f"{outing.rider} was changed."
        else:
            gone |= dict(_gone(rack, outing, [*_parts(rig), each.board]))
        if rig.stood and _parts(rig) not in standing:
            gone[rig.id] = f"The rig of {rig.sail} does not stand any more."
    yield from gone.values()


def _gone(rack: Rack, outing: Outing, tags: Sequence[str]) -> Iterator[tuple[str, str]]:
    for tag in tags:
        item = rack.shed.by_tag.get(tag)
        if item is None:
            yield tag, f"{tag} cannot be given any more."
        elif not rack.is_free(item, rack.span(outing)):
            yield tag, f"{tag} is kept for somebody else."


def tidings(
    rows: DayRows, plan: Plan, given: Sequence[Given], outings: Mapping[int, Outing]
) -> list[dict[str, object]]:
    """Whom the plan's acceptance must be told: who gets other kit than promised, and who gets none."""
    said = []
    for each in given:
        swaps = list(_swaps(rows, each))
        if swaps:
            said.append(_tiding(each.outing, "other_kit", f"{' and '.join(swaps)}."))
    for short in plan.unserved:
        outing = outings.get(int(short.demand))
        if outing is not None:
            said.append(_tiding(outing, "no_rig", short.reason.text))
    return said


def _swaps(rows: DayRows, given: Given) -> Iterator[str]:
    had = rows.kit.get(given.outing.pk, {})
    for kind in (Kind.SAIL, Kind.BOARD):
        if kind in had and had[kind].item.model_id != given.items[kind].model_id:
            new, old = given.items[kind].model.name, had[kind].item.model.name
            yield f"{kind.value} {new} instead of {old}"


def _tiding(outing: Outing, kind: str, text: str) -> dict[str, object]:
    party = outing.booking.party
    reach = outing.rider.phone or party.contact_phone or party.contact_email
    return {"outing_id": outing.pk, "rider": outing.rider.name, "reach": reach, "kind": kind, "text": text}
