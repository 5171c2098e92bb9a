"""What a rider could be given: sails with their reasons, the parts that rig them, boards and what is worn."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TypeVar

from django.db.models import Exists, OuterRef, QuerySet

from rentals.bookings import queries as bookings
from rentals.bookings.models import KitPart, Outing
from rentals.fleet.mapping import item_to_core, model_to_core
from rentals.fleet.models import RIG_PARTS, WORN, Item, Kind
from rentals.fleet.states import ItemState
from rentals.lessons.models import Lesson, Seat
from rentals.people.mapping import rider_to_core
from rentals.rigs.models import Card
from rentals.stations import queries as stations
from rentals.stations.models import Station
from rentals.weather import queries as weather
from rigging import checks, groups, kit, parts, sizing, wind
from rigging.reason import COMMON_PRACTICE, Reason
from rigging.units import BadValue

T = TypeVar("T")

WORN_SIZES = (("XS", 45.0), ("S", 58.0), ("M", 74.0), ("L", 92.0), ("XL", 160.0))
"""Size up to a body mass [kg]; common practice, no source. A rider tries it on all the same."""


@dataclass(frozen=True, slots=True)
class SailOffer:
    """One model of sail for a rider: how it would do, which unit of it, and what rigs it."""

    item: Item
    free: int
    advice: sizing.Recommendation
    rig: Mapping[Kind, Item] | None
    parts_reason: str

    @property
    def fits(self) -> bool:
        """Whether nothing forbids the sail and the shed can rig it."""
        return self.advice.fits and self.rig is not None

    @property
    def bar(self) -> tuple[str, str, str, str]:
        """Width under, width powered, start and width over, in percent of a drawn bar."""
        under, powered = 100 * self.advice.under, 100 * self.advice.powered
        over_from = under + powered
        return f"{under:.1f}", f"{powered:.1f}", f"{over_from:.1f}", f"{max(100 - over_from, 0):.1f}"


@dataclass(frozen=True, slots=True)
class BoardOffer:
    """One model of board for a rider."""

    item: Item
    suits: sizing.Suits


@dataclass(frozen=True, slots=True)
class Offers:
    """Everything that can be chosen for an outing."""

    outing: Outing
    slot: wind.SlotWind | None
    shore: wind.Shore | None
    no_wind: str
    sails: tuple[SailOffer, ...]
    smaller: SailOffer | None
    boards: tuple[BoardOffer, ...]
    fins: tuple[Item, ...]
    spares: Mapping[Kind, tuple[Item, ...]]
    worn: Mapping[Kind, tuple[Item, ...]]
    kit: Mapping[Kind, KitPart]

    @property
    def fitting(self) -> tuple[SailOffer, ...]:
        """Sails that may be recommended, best first."""
        return tuple(offer for offer in self.sails if offer.fits)

    @property
    def refused(self) -> tuple[SailOffer, ...]:
        """Sails that something speaks against."""
        return tuple(offer for offer in self.sails if not offer.fits)

    def board_suits(self, item_id: int) -> bool:
        """Say whether a board is advised."""
        return any(offer.item.pk == item_id and offer.suits.ok for offer in self.boards)

    def sail(self, item_id: int) -> SailOffer | None:
        """Return the offer that a sail's unit stands for."""
        return next((offer for offer in self.sails if offer.item.pk == item_id), None)


def offers(outing: Outing, *, now: datetime) -> Offers:
    """Return what an outing could be given: five queries.

    Args:
        outing: with rider and station at hand.
        now: the moment; what should be back by then and is not, is not offered.
    """
    station, rider = outing.station, rider_to_core(outing.rider)
    own = {Kind(part.part): part for part in bookings.kit_in_force(outing)}
    free = _free_units(outing, own, now)
    slot, no_wind = _slot(outing)
    shore = None if slot is None else slot.shore(station.seaward_deg)
    policy = stations.policy_of(station)
    sails = () if slot is None else _sail_offers(free, rider, slot, policy, shore)
    best = next((offer for offer in sails if offer.fits), None)
    held = own[Kind.SAIL].item_id if Kind.SAIL in own else None
    chosen = next((offer for offer in sails if offer.item.pk == held), best)
    fins = tuple(units[0] for units in free[Kind.FIN])
    return Offers(
        outing=outing,
        slot=slot,
        shore=shore,
        no_wind=no_wind,
        sails=sails,
        smaller=_one_down(sails, chosen),
        boards=_board_offers(free[Kind.BOARD], rider, best, fins),
        fins=fins,
        spares={part: tuple(units[0] for units in free[part]) for part in RIG_PARTS if part is not Kind.SAIL},
        worn={kind: tuple(worn_first(free[kind], outing)) for kind in WORN},
        kit=own,
    )


def card_of(outing: Outing) -> Card | None:
    """Return an outing's card in force: one query."""
    return Card.objects.filter(outing=outing, kit_no=outing.kit_no).first()


def items_on(card: Card) -> dict[Kind, Item]:
    """Return the items a card was made for: one query."""
    ids = card.inputs["items"].values()
    found = {item.pk: item for item in Item.objects.filter(pk__in=ids).select_related("model")}
    return {Kind(part): found[item_id] for part, item_id in card.inputs["items"].items()}


def rig_for(sail: kit.Sail, spares: Mapping[Kind, Sequence[Item]]) -> tuple[dict[Kind, Item] | None, str]:
    """Return the parts, out of those free, that rig a sail best, and why these or why none."""
    masts, extensions, booms, bases = (
        [model_to_core(item.model, str(item.pk)) for item in spares[kind]]
        for kind in (Kind.MAST, Kind.EXTENSION, Kind.BOOM, Kind.BASE)
    )
    chosen = parts.best_parts(
        sail,
        _only(kit.Mast, masts),
        _only(kit.Extension, extensions),
        _only(kit.Boom, booms),
        _only(kit.Base, bases),
    )
    if chosen is None:
        return None, _nothing_fits(sail, spares)
    by_id = {str(item.pk): item for items in spares.values() for item in items}
    names = {
        Kind.MAST: chosen.mast.name,
        Kind.EXTENSION: chosen.extension.name,
        Kind.BOOM: chosen.boom.name,
        Kind.BASE: chosen.base.name,
    }
    return {kind: by_id[name] for kind, name in names.items()}, chosen.reason.text


@dataclass(frozen=True, slots=True)
class SpareRig:
    """A whole rig that nobody is promised, for the beach beside a lesson, and why it."""

    items: Mapping[Kind, Item]
    why: str


def spare_rigs(lesson: Lesson, station: Station) -> tuple[SpareRig, ...]:
    """Return rigs to lie on the beach beside a lesson, of the sizes its students have: two queries.

    Args:
        lesson: with its span.
        station: its station.
    """
    students = Seat.objects.taken().filter(lesson=lesson).values("outing")
    kit_parts = KitPart.objects.in_force().filter(outing__in=students, part=Kind.SAIL)
    used = [part.item.model.area_m2 or 0.0 for part in kit_parts.with_items()]
    end = lesson.ends_at + timedelta(minutes=station.turn_round_min)
    items = (
        Item.objects.filter(station=station, model__kind__in=RIG_PARTS)
        .fit_to_give()
        .exclude(state=ItemState.ISSUED)
        .free_between(lesson.starts_at, end)
        .select_related("model")
        .order_by("water_s", "tag")
    )
    free: defaultdict[Kind, list[Item]] = defaultdict(list)
    for item in items:
        free[Kind(item.model.kind)].append(item)
    found = (_spare(size, free) for size in groups.spare_sizes(used))
    return tuple(rig for rig in found if rig is not None)


def _spare(size_m2: float, free: Mapping[Kind, list[Item]]) -> SpareRig | None:
    """Take the free sail nearest to a size, not larger where there is one, and the parts that rig it."""
    nearest = sorted(
        free[Kind.SAIL],
        key=lambda sail: ((sail.model.area_m2 or 0.0) > size_m2, abs((sail.model.area_m2 or 0.0) - size_m2)),
    )
    for sail in nearest:
        parts_found, _why = rig_for(sail_of(sail), free)
        if parts_found is None:
            continue
        taken = {Kind.SAIL: sail, **parts_found}
        for kind, item in taken.items():
            free[kind].remove(item)
        return SpareRig(taken, f"{sail.model.name}: a student sails {size_m2:g} m².")
    return None


def sail_of(item: Item) -> kit.Sail:
    """Return a sail's dataclass, named by its model."""
    (sail,) = _only(kit.Sail, [model_to_core(item.model, item.model.name)])
    return sail


def fin_for(board: Item, area_m2: float, fins: Sequence[Item]) -> Item | None:
    """Return the free fin of the board's box whose length is nearest to the sail's, or None."""
    usual = sizing.fin_length_cm(area_m2)
    fitting = [fin for fin in fins if fin.model.fin_box == board.model.fin_box]
    middle = (usual.low + usual.high) / 2
    return min(fitting, key=lambda fin: (abs((fin.model.length_cm or 0) - middle), fin.pk), default=None)


def _free_units(
    outing: Outing, own: Mapping[Kind, KitPart], now: datetime
) -> defaultdict[Kind, list[list[Item]]]:
    """Return free items by kind and model, within a model the one to take first: in the shed, least worn."""
    end = outing.ends_at + timedelta(minutes=outing.station.turn_round_min)
    items = (
        Item.objects.filter(station=outing.station)
        .fit_to_give()
        .free_between(outing.starts_at, end, ignoring=[part.hold_id for part in own.values()])
        .filter(~Exists(_not_back(outing, now)))
        .annotate(promised=Exists(_still_with_others(outing)))
        .select_related("model")
        # A unit that somebody has before may come back late; then the least worn.
        .order_by("model_id", "promised", "water_s", "tag")
    )
    kept = {part.item_id for part in own.values()}
    by_model: defaultdict[int, list[Item]] = defaultdict(list)
    for item in items:
        by_model[item.model_id].append(item)
    grouped: defaultdict[Kind, list[list[Item]]] = defaultdict(list)
    for units in by_model.values():
        units.sort(key=lambda item: (item.pk not in kept, item.state == ItemState.ISSUED))
        grouped[Kind(units[0].model.kind)].append(units)
    return grouped


def _not_back(outing: Outing, now: datetime) -> QuerySet[KitPart]:
    """Return uses of an item by others who are late with it, or have it while this outing should be going."""
    out = KitPart.objects.filter(item=OuterRef("pk")).with_rider().exclude(outing=outing)
    return out if outing.starts_at <= now else out.filter(outing__ends_at__lte=now)


def _still_with_others(outing: Outing) -> QuerySet[KitPart]:
    """Return uses of an item, not over yet, in the hours before an outing."""
    return KitPart.objects.filter(
        item=OuterRef("pk"),
        dropped_at=None,
        returned_at=None,
        hold__live=True,
        hold__starts_at__lt=outing.starts_at,
        hold__starts_at__gt=outing.starts_at - timedelta(hours=12),
    ).exclude(outing=outing)


def _slot(outing: Outing) -> tuple[wind.SlotWind | None, str]:
    hours = weather.hours_between(outing.station, outing.starts_at, outing.ends_at)
    try:
        return wind.slot_wind(hours, outing.starts_at, outing.ends_at), ""
    except BadValue:
        return (
            None,
            "No forecast covers this time. Enter the wind by hand or load a file, then choose the kit.",
        )


def _sail_offers(
    free: Mapping[Kind, list[list[Item]]],
    rider: sizing.Rider,
    slot: wind.SlotWind,
    policy: sizing.Policy,
    shore: wind.Shore | None,
) -> tuple[SailOffer, ...]:
    groups = {units[0].model.name: units for units in free[Kind.SAIL]}
    if not groups:
        return ()
    spares = {part: [units[0] for units in free[part]] for part in RIG_PARTS}
    sails = [model_to_core(units[0].model, name) for name, units in groups.items()]
    # Whether the boat is manned is the launch gate's question on the day; here only what no boat would mend.
    advised = sizing.recommend(rider, _only(kit.Sail, sails), slot, policy, shore=shore, safety_boat=True)
    found = []
    for advice in advised:
        units = groups[advice.sail.name]
        rig, why = rig_for(advice.sail, spares)
        found.append(SailOffer(item=units[0], free=len(units), advice=advice, rig=rig, parts_reason=why))
    return tuple(sorted(found, key=lambda offer: not offer.fits))


def _one_down(sails: Sequence[SailOffer], chosen: SailOffer | None) -> SailOffer | None:
    if chosen is None:
        return None
    riggable = [offer for offer in sails if offer.fits]
    smaller = sizing.one_size_down([offer.advice for offer in riggable], chosen.advice)
    return next((offer for offer in riggable if offer.advice is smaller), None)


def _board_offers(
    groups: Sequence[Sequence[Item]], rider: sizing.Rider, best: SailOffer | None, fins: Sequence[Item]
) -> tuple[BoardOffer, ...]:
    """Return boards, those that suit first; learners are better off with a daggerboard, others without."""
    area = best.advice.sail.area_m2 if best else None
    found = []
    for units in groups:
        board = item_to_core(units[0])
        if isinstance(board, kit.Board):
            suits = sizing.board_suits(board, rider, area)
            found.append(BoardOffer(units[0], _with_fin(suits, board, fins)))
    usual = sizing.board_volume_l(rider)
    middle = (usual.low + usual.high) / 2
    return tuple(
        sorted(
            found,
            key=lambda each: (
                not each.suits.ok,
                bool(each.item.model.daggerboard) is rider.level.planes,
                abs((each.item.model.volume_l or 0) - middle),
            ),
        )
    )


def _with_fin(suits: sizing.Suits, board: kit.Board, fins: Sequence[Item]) -> sizing.Suits:
    """Return whether a board suits when a fin must be free for it as well."""
    if any(fin.model.fin_box == board.fin_box for fin in fins):
        return suits
    text = f"No fin for its {board.fin_box.replace('_', ' ')} is free."
    return sizing.Suits(False, (*suits.reasons, Reason(text, "a board goes out with a fin", COMMON_PRACTICE)))


def fits_to_wear(item: Item, outing: Outing) -> bool:
    """Say whether something worn is of the rider's size, and an aid strong enough. They try it on."""
    mass = float(outing.rider.mass_kg)
    weak = item.model.buoyancy_n is not None and item.model.buoyancy_n < checks.aid_needed_n(mass)
    return item.model.size == _size_for(mass) and not weak


def _size_for(mass_kg: float) -> str:
    return next((name for name, up_to in WORN_SIZES if mass_kg <= up_to), WORN_SIZES[-1][0])


def worn_first(groups: Sequence[Sequence[Item]], outing: Outing) -> list[Item]:
    """Return what is worn, the size that should fit first; an aid must also carry the rider's mass."""
    mass = float(outing.rider.mass_kg)
    sizes = [name for name, _up_to in WORN_SIZES]
    fitting = sizes.index(_size_for(mass))
    needed_n = checks.aid_needed_n(mass)
    items = [units[0] for units in groups]
    return sorted(
        items,
        key=lambda item: (
            item.model.buoyancy_n is not None and item.model.buoyancy_n < needed_n,
            abs(sizes.index(item.model.size) - fitting) if item.model.size in sizes else len(sizes),
            -(item.model.thickness_mm or 0),
            item.model.name,
        ),
    )


def _nothing_fits(sail: kit.Sail, spares: Mapping[Kind, Sequence[Item]]) -> str:
    missing = [kind.value for kind in (Kind.MAST, Kind.EXTENSION, Kind.BOOM, Kind.BASE) if not spares[kind]]
    if missing:
        return f"No {' and no '.join(missing)} is free at that time."
    diameters = " or ".join(sorted(sail.diameters))
    return (
        f"No free mast, extension, boom and base go together for luff {sail.luff_cm:g} cm, {diameters}, "
        f"index {sail.imcs:g} and boom {sail.boom_cm:g} cm."
    )


def _only(kind: type[T], found: Iterable[object]) -> list[T]:
    return [part for part in found if isinstance(part, kind)]
