"""The wind window of a sail: where it starts to plane, is at its best, and becomes too much.

All edges are beach wind (head height); forecasts are at 10 m, see `rigging.wind`.
"""

import math
from collections.abc import Sequence
from typing import Final, Generic, NamedTuple

import numpy as np
from numpy.typing import NDArray

from rigging.levels import Level
from rigging.sizing.riders import MASS_KG, STATURE_M, level_of, usual_stature_m
from rigging.units import KNOT_MS, FloatArray, Numbers, array_in_range, in_range, shaped
from rigging.wind.air import BEACH_HEIGHT_M, SEA_ROUGHNESS_M, STANDARD_DENSITY

AREA_M2: Final = (0.5, 15.0)
DENSITY: Final = (0.9, 1.6)

# -- constants: value, unit, source, status ---------------------------------------------------------
GRAVITY: Final = 9.80665  # m/s2; CGPM 1901; published
ASPECT: Final = 3.36  # luff^2 over area, from an 8 m2 Olympic-class sail; published
EFFORT: Final = (0.15, 0.40)  # m, share of luff: height of the centre of effort over the deck; calibrated
RIG_KG: Final = (1.6, 1.25)  # kg, kg/m2: mass of a rig by area; calibrated
PLANING_BOARD_KG: Final = (3.5, 0.065)  # kg, kg per kg of rider; calibrated
LEARNER_BOARD_KG: Final = 13.0  # kg; calibrated
WORN_SHARE: Final = 0.04  # wet clothing over body mass; calibrated
HUMP_DRAG: Final = 0.1859  # drag over weight at the hump, Savitsky has 0.12-0.24; calibrated on beach wind
DISPLACEMENT_DRAG: Final = 0.016  # drag over weight of a board that doesn't plane; calibrated
DRIVE: Final = 1.00  # drive coefficient of a planing sail; calibrated
DRIVE_SLOW: Final = 1.10  # drive coefficient without planing; calibrated
FORCE: Final = 1.14  # side force coefficient before depowering; calibrated
APPARENT_LOW: Final = 0.91  # (apparent/true wind)^2 at 110 deg when starting to plane; kinematics
APPARENT_HIGH: Final = 1.65  # (apparent/true wind)^2 at the upper edge; kinematics
FLEX: Final = 0.50  # coefficients fall as (q/q0)^(-FLEX/2): sign published, size calibrated
Q0_PA: Final = 30.0  # Pa; normalises the flex
LOADING0: Final = 185.0  # N/m2; normalises the loading
RAISED: Final = 0.56  # share of stature: centre of mass beyond the foot line per sine of lean; calibrated
TRIM_DRIVE: Final = 0.12  # drive gained at full trim; calibrated
TRIM_FORCE: Final = 0.20  # side force shed at full trim; calibrated
TRIM_HEIGHT: Final = 0.04  # centre of effort lowered at full trim; calibrated
SCALE: Final = (75.0, 0.17)  # kg, exponent: light riders do better than bare physics; calibrated
IDEAL: Final = 0.5736  # ideal = lower^IDEAL upper^(1 - IDEAL) when planing; calibrated
IDEAL_SLOW: Final = 0.25  # the same without planing, so that sails come out at 0.045-0.065 m2/kg; calibrated
NO_HARNESS_DEG: Final = 10.0  # deg of lean lost without a harness; policy

# By level, taster to expert; calibrated (the first three don't plane: no flex, displacement drag).
TECHNIQUE: Final = np.array([1.0, 1.0, 1.0, 1.13, 1.00, 0.90])  # drag over that of good technique
LEAN_DEG: Final = np.array([14.0, 22.0, 30.0, 42.0, 48.0, 54.0])  # deg; of the body at the upper edge
FOOT_M: Final = np.array([0.10, 0.10, 0.16, 0.22, 0.22, 0.22])  # m; feet off the board's centre line
DEPOWER: Final = np.array([1.00, 0.92, 0.80, 0.557, 0.503, 0.440])  # side force left when depowered
PLANES: Final[NDArray[np.bool_]] = np.array([level.planes for level in Level])

RULE_M2_KN_PER_KG: Final = 1.34
"""The trade's rule: ideal area [m2] = 1.34 mass [kg] / beach wind [kn]; common practice, from memory."""


class Window(NamedTuple, Generic[Numbers]):
    """The beach winds [m/s] at which a sail starts to work, is at its best, and becomes too much."""

    beach_under_ms: Numbers
    beach_ideal_ms: Numbers
    beach_over_ms: Numbers


class LnEdges(NamedTuple):
    """Edges as ln of beach wind in m/s; `drift` is where the sail first moves the board at all."""

    under: FloatArray
    ideal: FloatArray
    over: FloatArray
    drift: FloatArray


def wind_window(
    area_m2: Numbers,
    mass_kg: float | FloatArray,
    stature_m: float | FloatArray | None = None,
    level: Level | Sequence[Level] = Level.ADVANCED,
    air_density: float = STANDARD_DENSITY,
    trim: float = 0.0,
    *,
    harness: bool = True,
) -> Window[Numbers]:
    """Return the window of a sail as beach winds [m/s]; arguments broadcast against each other.

    Args:
        area_m2: sail area, 0.5-15 [m2].
        mass_kg: body mass, 20-160 [kg].
        stature_m: 0.9-2.3 [m], or None for the usual stature of the mass.
        level: one level, or one for each rider.
        air_density: 0.9-1.6 [kg/m3].
        trim: -1 (full and closed) to 1 (flat, open and low).
        harness: whether planing riders hook in.

    Raises:
        BadValue: for numbers outside those ranges.

    Notes:
        Lower edge: drive against the drag of the planing hump (or of displacement, for levels that don't
        plane yet). Upper edge: side force at the centre of effort against the rider's righting moment.
        Meets the trade's rule A = 1.34 m / V within 1.3 % at 40-110 kg and 10-35 kn of beach wind.
    """
    mass = array_in_range("mass_kg", mass_kg, "kg", *MASS_KG)
    stature = usual_stature_m(mass) if stature_m is None else _stature(stature_m)
    words = [level] if isinstance(level, str) else level
    ranks = np.array([level_of(word).rank for word in words])
    edges = ln_edges(
        array_in_range("area_m2", area_m2, "m²", *AREA_M2),
        mass,
        stature,
        ranks[0] if isinstance(level, str) else ranks,
        np.bool_(harness),
        in_range("air_density", air_density, "kg/m³", *DENSITY),
        in_range("trim", trim, "", -1, 1),
    )
    under, ideal, over = np.exp(edges.under), np.exp(edges.ideal), np.exp(edges.over)
    return Window(shaped(under, area_m2), shaped(ideal, area_m2), shaped(over, area_m2))


def _stature(stature_m: float | FloatArray) -> FloatArray:
    return array_in_range("stature_m", stature_m, "m", *STATURE_M)


def rig_kg(area_m2: Numbers) -> Numbers:
    """Return the usual mass [kg] of a complete rig by its area [m2]."""
    fixed, per_m2 = RIG_KG
    return area_m2 * per_m2 + fixed


def luff_m(area_m2: FloatArray) -> FloatArray:
    """Return the usual luff [m] of a sail by its area [m2]."""
    return np.sqrt(ASPECT * area_m2)


def ln_edges(
    area: FloatArray,
    mass: FloatArray,
    stature: FloatArray,
    ranks: NDArray[np.int64],
    harness: NDArray[np.bool_] | np.bool_,
    density: FloatArray | float,
    trim: float = 0.0,
) -> LnEdges:
    """Return the edges for checked arguments that broadcast; the logarithm of the loading is the only
    transcendental call on the full product of riders and sails."""
    planes: NDArray[np.bool_] = PLANES[ranks]
    exponent = np.where(planes, 1 - FLEX / 2, 1.0)
    effort = EFFORT[0] + EFFORT[1] * luff_m(area)
    # Wind at the centre of effort over beach wind, density and the scale of the rider, common to all edges.
    profile = np.log(np.log(effort / SEA_ROUGHNESS_M) / np.log(BEACH_HEIGHT_M / SEA_ROUGHNESS_M))
    common = SCALE[1] * np.log(mass / SCALE[0]) + 0.5 * np.log(2 / density)
    loading = np.log(_weight_n(mass, area, planes)) - np.log(area)
    drift = np.log(DISPLACEMENT_DRAG / (DRIVE_SLOW * (1 - TRIM_DRIVE * trim) * APPARENT_LOW)) + loading
    hump = np.log(HUMP_DRAG * TECHNIQUE[ranks] / (DRIVE * (1 - TRIM_DRIVE * trim) * APPARENT_LOW))
    rising = hump + 1.5 * loading - 0.5 * np.log(LOADING0)
    lower = np.where(planes, _flexed(rising, exponent), drift)
    righting = np.log(GRAVITY * mass * _lever_m(stature, ranks, harness))
    side = np.log(FORCE * DEPOWER[ranks] * (1 - TRIM_FORCE * trim) * APPARENT_HIGH)
    heeling = np.log(area * effort * (1 - TRIM_HEIGHT * trim))
    upper = _flexed(righting - side - heeling, exponent)
    over = 0.5 * upper + common - profile
    under = np.minimum(0.5 * lower + common - profile, over)
    toward = np.where(planes, IDEAL, IDEAL_SLOW)
    ideal = toward * under + (1 - toward) * over
    return LnEdges(under, ideal, over, 0.5 * drift + common - profile)


def _flexed(ln_pressure: FloatArray, exponent: FloatArray) -> FloatArray:
    return math.log(Q0_PA) + (ln_pressure - math.log(Q0_PA)) / exponent


def _weight_n(mass: FloatArray, area: FloatArray, planes: NDArray[np.bool_]) -> FloatArray:
    fixed, per_kg = PLANING_BOARD_KG
    board = np.where(planes, fixed + per_kg * mass, LEARNER_BOARD_KG)
    carried: FloatArray = mass * (1 + WORN_SHARE) + board
    return GRAVITY * (carried + rig_kg(area))


def _lever_m(
    stature: FloatArray, ranks: NDArray[np.int64], harness: NDArray[np.bool_] | np.bool_
) -> FloatArray:
    lost = np.where(PLANES[ranks] & ~harness, NO_HARNESS_DEG, 0.0)
    lean = np.sin(np.radians(LEAN_DEG[ranks] - lost))
    return np.asarray(FOOT_M[ranks] + RAISED * stature * lean)


def rule_area_m2(mass_kg: float, beach_ms: float) -> float:
    """Return the trade's rule of thumb for a planing rider's ideal area [m2]; raises BadValue."""
    mass = in_range("mass_kg", mass_kg, "kg", *MASS_KG)
    wind = in_range("beach_ms", beach_ms, "m/s", 0.5, 60)
    return RULE_M2_KN_PER_KG * mass / (wind / KNOT_MS)
