"""Small sheds by hand: one line to a stock, so that a test shows what it depends on."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Final

from rigging.allot.problem import Crew, Demand, Priority, Problem, Stock, Unit
from rigging.kit import Board, Boom, Diameter, Extension, FinBox, Mast, Sail

ORIGIN: Final = datetime(2026, 7, 14, tzinfo=UTC)
RDM: Final = frozenset({Diameter.RDM})
LUFFS: Final = {4.2: 408, 5.3: 438, 6.2: 453}
BOOMS: Final = {4.2: 165, 5.3: 180, 6.2: 192}
STIFFNESS: Final = {400: 19.0, 430: 21.0}


def units(prefix: str, count: int) -> tuple[Unit, ...]:
    return tuple(Unit(f"{prefix}-{n}") for n in range(1, count + 1))


def sail(area: float, count: int = 1, imcs: float = 20.0) -> Stock[Sail]:
    """A sail that both a 400 and a 430 mast may stand in, where the luff lets them."""
    spec = Sail(
        name=f"thrift {area}",
        area_m2=area,
        luff_cm=LUFFS[area],
        boom_cm=BOOMS[area],
        diameters=RDM,
        imcs=imcs,
    )
    return Stock(spec, units(f"S{area}", count))


def mast(length: int, count: int = 1) -> Stock[Mast]:
    spec = Mast(name=f"reed {length}", length_cm=length, diameter=Diameter.RDM, imcs=STIFFNESS[length])
    return Stock(spec, units(f"M{length}", count))


def boom(low: int = 140, high: int = 200, count: int = 9) -> Stock[Boom]:
    return Stock(Boom(name=f"rush {low}", min_cm=low, max_cm=high, clamps=RDM), units(f"B{low}", count))


def extension(high: int = 46, count: int = 9) -> Stock[Extension]:
    spec = Extension(name=f"sedge {high}", diameter=Diameter.RDM, min_cm=0, max_cm=high)
    return Stock(spec, units(f"X{high}", count))


def board(volume: int = 110, count: int = 9, most_m2: float = 9.0) -> Stock[Board]:
    spec = Board(
        name=f"marram {volume}",
        volume_l=volume,
        width_cm=65,
        sail_min_m2=1.0,
        sail_max_m2=most_m2,
        fin_box=FinBox.POWER_BOX,
    )
    return Stock(spec, units(f"D{volume}", count))


def rider(
    name: str,
    start_h: float = 10,
    end_h: float = 12,
    *,
    sails: Mapping[float, float],
    boards: Mapping[int, float] | None = None,
    priority: Priority = Priority.PREBOOKED,
    group: str | None = None,
) -> Demand:
    """A rider's wish by area of sail and volume of board."""
    return Demand(
        id=name,
        start_min=round(start_h * 60),
        end_min=round(end_h * 60),
        priority=priority,
        mass_kg=75.0,
        sails={f"thrift {area}": loss for area, loss in sails.items()},
        boards={f"marram {volume}": loss for volume, loss in (boards or {110: 0.0}).items()},
        group=group,
    )


def shed(*demands: Demand, **changes: Any) -> Problem:
    """A shed with one sail of 5.3 m2 and a mast for it, plenty of the rest, and the riders given."""
    given: dict[str, Any] = {
        "station": "Kettle Bay",
        "origin": ORIGIN,
        "turn_round_min": 15,
        "crew": Crew(),
        "sails": (sail(5.3),),
        "masts": (mast(430),),
        "booms": (boom(),),
        "extensions": (extension(),),
        "boards": (board(),),
        "demands": demands,
    }
    return Problem(**(given | changes))
