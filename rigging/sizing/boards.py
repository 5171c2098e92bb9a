"""Boards and fins: volume for a rider, fin for a sail, and whether a board suits."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from rigging.kit import Board
from rigging.levels import Level
from rigging.reason import COMMON_PRACTICE, Input, Reason
from rigging.sizing.riders import MASS_KG, Rider, level_of
from rigging.sizing.window import AREA_M2
from rigging.units import FloatArray, array_in_range, in_range

# -- constants: value, unit, source, status ---------------------------------------------------------
SCHOOL_FACTOR: Final = 2.5  # l/kg; least buoyancy for first lessons, an association's checklist; published
ADDED_L: Final = {
    Level.TASTER: (80.0, 160.0),
    Level.BEGINNER: (80.0, 140.0),
    Level.IMPROVER: (60.0, 100.0),
    Level.INTERMEDIATE: (20.0, 55.0),
    Level.ADVANCED: (0.0, 40.0),
    Level.EXPERT: (-15.0, 30.0),
}
"""Litres over body mass in kg, least and most by level; common practice, no source."""
FIN_CM_M2: Final = 5.5  # cm of straight fin per m2 of sail; common practice
FIN_TOLERANCE: Final = 0.10  # share either side; common practice


class Water(StrEnum):
    """What the board floats in."""

    SEA = "sea"
    FRESH = "fresh"


WATER_KG_L: Final = {Water.SEA: 1.025, Water.FRESH: 1.000}
"""Density in kg/l; the usual volumes are for the sea."""


@dataclass(frozen=True, slots=True)
class Range:
    """A range of a length or volume, both ends allowed, with its unit and reason."""

    low: float
    high: float
    unit: str
    reason: Reason


@dataclass(frozen=True, slots=True)
class Suits:
    """Whether a board suits a rider, and why (or why not)."""

    ok: bool
    reasons: tuple[Reason, ...]


def board_volumes_l(
    mass_kg: FloatArray, level: Level | Sequence[Level], water: Water = Water.SEA
) -> tuple[FloatArray, FloatArray]:
    """Return least and most board volume [l] for arrays of body masses [kg] and levels; raises BadValue."""
    mass = array_in_range("mass_kg", mass_kg, "kg", *MASS_KG)
    levels = [level_of(level)] if isinstance(level, str) else [level_of(word) for word in level]
    added = np.array([ADDED_L[one] for one in levels])
    least, most = mass + added[:, 0], mass + added[:, 1]
    learning = np.array([one.rank <= Level.BEGINNER.rank for one in levels])
    least = np.where(learning, np.maximum(least, SCHOOL_FACTOR * mass), least)
    lift = WATER_KG_L[Water.SEA] / WATER_KG_L[Water(water)]
    return least * lift, np.maximum(most, least) * lift


def board_volume_l(rider: Rider, water: Water = Water.SEA) -> Range:
    """Return the range of board volumes [l] for a rider, a little more in fresh water."""
    low, high = board_volumes_l(np.array([rider.mass_kg]), rider.level, water)
    least, most = float(low[0]), float(high[0])
    text = f"For {rider.mass_kg:g} kg at {rider.level} level {least:.0f}-{most:.0f} l in {water} water."
    rule, source = "body mass plus litres by level", COMMON_PRACTICE
    if rider.level.rank <= Level.BEGINNER.rank:
        rule = f"at least {SCHOOL_FACTOR:g} l per kg for those who learn"
        source = f"school checklist of a national association; most: {COMMON_PRACTICE}"
    inputs = (Input("mass", rider.mass_kg, "kg"), Input("level", rider.level), Input("water", water))
    return Range(least, most, "l", Reason(text, rule, source, inputs))


def fin_lengths_cm(area_m2: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return least and most length [cm] of a straight fin for arrays of sail areas [m2]; raises BadValue."""
    length = FIN_CM_M2 * array_in_range("area_m2", area_m2, "m²", *AREA_M2)
    return length * (1 - FIN_TOLERANCE), length * (1 + FIN_TOLERANCE)


def fin_length_cm(area_m2: float) -> Range:
    """Return the range of straight fin lengths [cm] for a sail of `area_m2`; raises BadValue."""
    area = in_range("area_m2", area_m2, "m²", *AREA_M2)
    low, high = (float(length) for length in fin_lengths_cm(np.array(area)))
    text = (
        f"A {area:g} m² sail takes a straight fin of {low:.0f}-{high:.0f} cm; wave and weed fins are shorter."
    )
    return Range(
        low, high, "cm", Reason(text, "5.5 cm per m² ± 10 %", COMMON_PRACTICE, (Input("area", area, "m²"),))
    )


def board_suits(board: Board, rider: Rider, area_m2: float | None = None, water: Water = Water.SEA) -> Suits:
    """Return whether a board floats the rider well enough and carries the sail of `area_m2`, when given.

    Notes:
        Too little volume doesn't suit; more than usual does, with a word of caution.
    """
    usual = board_volume_l(rider, water)
    reasons = [usual.reason]
    ok = board.volume_l >= usual.low
    if not ok:
        text = f"{board.volume_l:g} l is {usual.low - board.volume_l:.0f} l too little."
        reasons.append(Reason(text, usual.reason.rule, usual.reason.source))
    if board.volume_l >= usual.high + 1:
        more = board.volume_l - usual.high
        text = f"{board.volume_l:g} l is {more:.0f} l more than usual: steady, but slow to turn."
        reasons.append(Reason(text, usual.reason.rule, usual.reason.source))
    if area_m2 is not None:
        area = in_range("area_m2", area_m2, "m²", *AREA_M2)
        carries = board.sail_min_m2 <= area <= board.sail_max_m2
        ok = ok and carries
        word = "carries" if carries else "doesn't carry"
        text = f"The board is for {board.sail_min_m2:g}-{board.sail_max_m2:g} m²: it {word} {area:g} m²."
        reasons.append(Reason(text, "the board's own range of sails", "item's specification"))
    return Suits(ok, tuple(reasons))
