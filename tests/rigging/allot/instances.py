"""Seeded days: sheds and riders in the proportions of a station, for tests and benchmarks."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

import numpy as np

from rigging.allot.problem import (
    Crew,
    Demand,
    Priority,
    Problem,
    Stock,
    Unit,
    Window,
)
from rigging.kit import Board, Boom, Diameter, Extension, FinBox, Head, Mast, Sail

DAY: Final = datetime(2026, 7, 14, tzinfo=UTC)
RDM, SDM = frozenset({Diameter.RDM}), frozenset({Diameter.SDM})
BOTH = RDM | SDM
PLANTS: Final = ("glasswort", "sea holly", "thrift", "samphire", "lyme grass", "rock rose", "sea kale")
AREAS: Final = (2.5, 3.0, 3.4, 3.7, 4.0, 4.2, 4.5, 4.7, 5.0, 5.3, 5.6, 5.9, 6.2, 6.6, 7.0, 7.5, 8.2)
MASTS: Final = ((340, 15.0), (370, 17.0), (400, 19.0), (430, 21.0), (460, 25.0), (490, 29.0))
"""Usual length in cm and stiffness index. From memory."""
VOLUMES: Final = (75, 85, 95, 105, 115, 130, 145, 165, 190, 220)
SMALLEST, LARGEST = 1 / 1.35, 1 / 0.80
"""Area over ideal area within which a sail serves: it serves from 0.80 to 1.35 of its ideal wind.
Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """How many riders and sails; masts and booms to a sail, boards to a rider; the day's hours."""

    riders: int
    sails: int
    masts: float = 1.0
    booms: float = 0.9
    boards: float = 0.45
    opens_min: int = 9 * 60
    closes_min: int = 18 * 60
    groups: bool = False
    windows: tuple[Window, ...] | None = None


SMALL: Final = Kind(riders=40, sails=60)
MEDIUM: Final = Kind(riders=200, sails=150)
MEDIUM_MAST: Final = Kind(riders=200, sails=150, masts=0.45, boards=0.6)
STATION: Final = Kind(riders=300, sails=170, masts=0.6, boards=0.42)
LARGE: Final = Kind(riders=600, sails=300, masts=0.95, boards=0.36)
LARGE_MAST: Final = Kind(riders=600, sails=300, masts=0.6, boards=0.45)
POOLED: Final = Kind(riders=1500, sails=700, masts=0.9, boards=0.4)
RIGGERS: Final = Crew()


def day(kind: Kind, seed: int) -> Problem:
    """A day of that kind; the same seed gives the same day."""
    rng = np.random.default_rng([seed, kind.riders, kind.sails])
    sails = _sails(rng, kind.sails)
    boards = _boards(rng, max(4, round(kind.boards * kind.riders)))
    return Problem(
        station="Tarrow Lagoon",
        origin=DAY,
        turn_round_min=15,
        crew=Crew(rig_min=15, windows=kind.windows),
        sails=sails,
        masts=_masts(rng, sails, kind),
        booms=_booms(rng, max(4, round(kind.booms * kind.sails))),
        extensions=_extensions(kind.sails),
        boards=boards,
        demands=_demands(rng, kind, sails, boards),
    )


def _sails(rng: np.random.Generator, total: int) -> tuple[Stock[Sail], ...]:
    makes = min(len(PLANTS), 2 + total // 120)
    # Lines of sails take every second size, as lines do.
    models = [(plant, area) for make, plant in enumerate(PLANTS[:makes]) for area in AREAS[make % 2 :: 2]]
    wanted = np.exp(-((np.array([area for _, area in models]) - 5.2) ** 2) / (2 * 1.5**2))
    counts = rng.multinomial(total, wanted / wanted.sum())
    return tuple(
        Stock(_sail(plant, area), _units("S", n, int(count), rng))
        for n, ((plant, area), count) in enumerate(zip(models, counts, strict=True))
        if count
    )


def _sail(plant: str, area: float) -> Sail:
    shift = PLANTS.index(plant) * 3.0
    luff = round(275 + 28.0 * area + shift)
    _, imcs = min(MASTS, key=lambda mast: abs(mast[0] + 18 - luff))
    return Sail(
        name=f"{plant} {area}",
        area_m2=area,
        luff_cm=luff,
        boom_cm=round(98 + 16.5 * area + shift / 2),
        diameters=RDM if area < 5.5 else BOTH if area < 7.0 else SDM,
        imcs=imcs,
        head=Head.ADJUSTABLE if area < 5.0 else Head.FIXED,
        head_strap_cm=20.0 if area < 5.0 else 0.0,
    )


def _units(kind: str, stock: int, count: int, rng: np.random.Generator) -> tuple[Unit, ...]:
    hours = rng.integers(0, 200, size=count)
    return tuple(Unit(f"{kind}{stock:02d}-{n:02d}", float(h)) for n, h in enumerate(hours, 1))


def _masts(rng: np.random.Generator, sails: tuple[Stock[Sail], ...], kind: Kind) -> tuple[Stock[Mast], ...]:
    models = [
        Mast(name=f"reed {length} {d}", length_cm=length, diameter=d, imcs=imcs)
        for length, imcs in MASTS
        for d in Diameter
        if not (d is Diameter.SDM and length < 430) and not (d is Diameter.RDM and length > 460)
    ]
    wanted = np.zeros(len(models))
    for stock in sails:
        fits = [m.imcs == stock.spec.imcs and m.diameter in stock.spec.diameters for m in models]
        wanted += np.array(fits) * len(stock.units) / max(1, sum(fits))
    counts = rng.multinomial(round(kind.masts * kind.sails), wanted / wanted.sum())
    return tuple(
        Stock(m, _units("M", n, int(c), rng)) for n, (m, c) in enumerate(zip(models, counts, strict=True))
    )


def _booms(rng: np.random.Generator, total: int) -> tuple[Stock[Boom], ...]:
    spans = ((130, 180), (140, 190), (160, 210), (175, 225), (190, 250))
    counts = rng.multinomial(total, [0.15, 0.25, 0.3, 0.2, 0.1])
    return tuple(
        Stock(
            Boom(name=f"rush {low}-{high}", min_cm=low, max_cm=high, clamps=SDM, shim=True),
            _units("B", n, int(count), rng),
        )
        for n, ((low, high), count) in enumerate(zip(spans, counts, strict=True))
    )


def _extensions(sails: int) -> tuple[Stock[Extension], ...]:
    return tuple(
        Stock(
            Extension(name=f"sedge {d} {span}", diameter=d, min_cm=0, max_cm=span),
            tuple(Unit(f"X{d}{span}-{n:02d}") for n in range(max(2, round(share * sails)))),
        )
        for d, span, share in ((Diameter.RDM, 32, 0.5), (Diameter.RDM, 46, 0.4), (Diameter.SDM, 46, 0.35))
    )


def _boards(rng: np.random.Generator, total: int) -> tuple[Stock[Board], ...]:
    counts = rng.multinomial(total, np.full(len(VOLUMES), 1 / len(VOLUMES)))
    return tuple(
        Stock(
            Board(
                name=f"marram {volume}",
                volume_l=volume,
                width_cm=40 + volume / 4,
                sail_min_m2=max(1.0, volume / 40),
                sail_max_m2=5.2 + volume / 50,
                fin_box=FinBox.POWER_BOX,
            ),
            _units("D", n, int(count), rng),
        )
        for n, (volume, count) in enumerate(zip(VOLUMES, counts, strict=True))
        if count
    )


def _demands(
    rng: np.random.Generator, kind: Kind, sails: tuple[Stock[Sail], ...], boards: tuple[Stock[Board], ...]
) -> tuple[Demand, ...]:
    peak = rng.uniform(14.0, 17.0)
    strength = rng.uniform(16.0, 22.0)
    out = []
    for n in range(kind.riders):
        duration = int(rng.choice([60, 90, 120, 180], p=[0.35, 0.3, 0.25, 0.1]))
        steps = (kind.closes_min - kind.opens_min - duration) // 15
        start = kind.opens_min + 15 * int(rng.integers(0, steps + 1))
        mass = float(np.clip(rng.normal(75, 14), 38, 120))
        priority = list(Priority)[int(rng.choice(3, p=[0.25, 0.55, 0.2]))]
        wind = strength * (0.75 + 0.25 * np.exp(-((((start + duration / 2) / 60 - peak) / 3) ** 2)))
        spare_l = float(rng.choice([25, 45, 75, 110]))
        out.append(
            Demand(
                id=f"d{n:04d}",
                start_min=start,
                end_min=start + duration,
                priority=priority,
                mass_kg=round(mass, 1),
                sails=_sail_losses(1.34 * mass / wind, sails),
                boards=_board_losses(mass + spare_l, boards),
                group=f"g{start}" if kind.groups and priority is Priority.LESSON else None,
            )
        )
    return tuple(out)


def _sail_losses(ideal_m2: float, sails: tuple[Stock[Sail], ...]) -> dict[str, float]:
    """Losses that grow with the logarithm of area over ideal, to 1 at the veto on either side."""
    ratios = {stock.name: stock.spec.area_m2 / ideal_m2 for stock in sails}
    return {
        name: round(float(np.log(ratio) / np.log(LARGEST if ratio > 1 else SMALLEST)), 3)
        for name, ratio in ratios.items()
        if SMALLEST < ratio < LARGEST
    }


def _board_losses(ideal_l: float, boards: tuple[Stock[Board], ...]) -> dict[str, float]:
    off = {stock.name: (stock.spec.volume_l - ideal_l) / ideal_l for stock in boards}
    return {name: round(abs(x), 3) for name, x in off.items() if -0.2 <= x <= 0.5}
