"""How a slot divides for every rider and sail: under, powered, over, what it is worth, what forbids it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntFlag
from typing import Final, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

from rigging.sizing.riders import Level, Policy, Rider, usual_stature_m
from rigging.sizing.window import AREA_M2, LnEdges, ln_edges, luff_m, rig_kg
from rigging.units import BadValue, FloatArray, array_in_range, from_knots, in_range
from rigging.wind import BEACH_FACTOR, Shore, SlotWind
from rigging.wind.air import STANDARD_DENSITY

# -- constants: value, unit, source, status ---------------------------------------------------------
NARROWEST_HALF: Final = 0.15  # ln; half-width of a window is never taken as less; policy
NARROWEST_LN_SD: Final = 0.01  # ln; no wind is steadier; policy
SMALLEST_SAIL_M2: Final = 1.5  # m2; never refused for its weight; common practice
UPHAUL_ARM: Final = 0.40  # share of the luff at which rig and water pull; calibrated
UPHAUL_LEVER: Final = 1.35 * 0.55  # m of hands over the foot x share of body weight behind; calibrated
WATER_KG_M2: Final = 2.0  # kg per m2 of sail: a film of 2 mm; calibrated
TABLE_CELLS: Final = 2048  # cells of the table over ln wind
PDF_SCALE: Final = 1 / math.sqrt(2 * math.pi)


class Veto(IntFlag):
    """What forbids a sail to a rider in a slot."""

    MEAN = 1
    GUST = 2
    OVER = 4
    OFF_SHORE = 8
    SIZE = 16
    BECALMED = 32


@dataclass(frozen=True, slots=True)
class Suitability:
    """Matrices of riders x sails x slots: shares of the time, utility, and what forbids (`Veto` bits)."""

    under: FloatArray
    over: FloatArray
    utility: FloatArray
    vetoes: NDArray[np.uint8]

    @property
    def in_(self) -> FloatArray:
        """Share of the time powered."""
        return 1 - self.under - self.over

    @property
    def veto(self) -> NDArray[np.bool_]:
        """Whether anything forbids."""
        return np.asarray(self.vetoes != 0)


def suitability(
    areas_m2: ArrayLike,
    riders: Sequence[Rider],
    slots: Sequence[SlotWind],
    policy: Policy | None = None,
    *,
    shores: Sequence[Shore | None] | None = None,
    safety_boat: bool = False,
    trim: float = 0.0,
    exact: bool = False,
) -> Suitability:
    """Return how every slot divides for every rider and sail, in one call.

    Args:
        areas_m2: sail areas in one dimension, 0.5-15 [m2].
        riders, slots: one or more of each.
        policy: the station's settings, the safe defaults when None.
        shores: shore angle of each slot, None where unknown.
        safety_boat: whether a manned safety boat is out.
        trim: -1 to 1, as in `wind_window`.
        exact: evaluate shares cell by cell instead of from a table over ln wind (within 1e-4).

    Raises:
        BadValue: for empty or out-of-range input, or when shores and slots differ in number.

    Notes:
        The wind of a slot is a mixture of lognormals by hour, each keeping its hour's mean. With
        X = ln wind, utility = powered + 0.30 under - 0.60 over - 2.0 E[(X - over)+]
        - 0.10 E[(X - ideal)^2] / half-width^2; the weights are the policy's. Vetoes hold edges against
        quantiles of the exact mixture, never against the table.
    """
    policy = policy or Policy()
    areas = array_in_range("areas_m2", areas_m2, "m²", *AREA_M2).reshape(1, -1)
    if not riders or not slots:
        name = "slots" if riders else "riders"
        raise BadValue(name, 0, name, "one or more")
    if shores is not None and len(shores) != len(slots):
        raise BadValue("shores", len(shores), "shores", f"as many as the {len(slots)} slots, in")
    people = _people(riders)
    edges = ln_edges(
        areas, people.mass, people.stature, people.ranks, people.harness, STANDARD_DENSITY,
        in_range("trim", trim, "", -1, 1),
    )  # fmt: skip
    size = np.where(_too_big(policy, areas, people), np.uint8(Veto.SIZE), np.uint8(0))
    shares: _Exact | _Table = _Exact(edges) if exact else _Table(edges)
    worth = _Worth(policy, edges)
    shape = (len(slots), len(riders), areas.size)
    under, over, utility = np.empty(shape), np.empty(shape), np.empty(shape)
    vetoes = np.empty(shape, dtype=np.uint8)
    for index, slot in enumerate(slots):
        beach = _beach(slot)
        excess = shares.fill(beach, under[index], over[index])
        worth.fill(beach, under[index], over[index], excess, utility[index])
        off = shores is not None and shores[index] is Shore.OFF_SHORE
        vetoes[index] = size | _vetoes(policy, beach, people.ranks, edges, off, safety_boat)
    return Suitability(
        np.moveaxis(under, 0, -1),
        np.moveaxis(over, 0, -1),
        np.moveaxis(utility, 0, -1),
        np.moveaxis(vetoes, 0, -1),
    )


@dataclass(frozen=True, slots=True)
class _People:
    """Riders as columns, to broadcast against a row of sails."""

    mass: FloatArray
    stature: FloatArray
    ranks: NDArray[np.int64]
    harness: NDArray[np.bool_]


def _people(riders: Sequence[Rider]) -> _People:
    mass = np.array([rider.mass_kg for rider in riders], dtype=np.float64)
    stature = np.array([rider.stature_m or np.nan for rider in riders], dtype=np.float64)
    stature = np.where(np.isnan(stature), usual_stature_m(mass), stature)
    ranks = np.array([rider.level.rank for rider in riders], dtype=np.int64)
    harness = np.array([rider.harness for rider in riders], dtype=np.bool_)
    return _People(mass[:, None], stature[:, None], ranks[:, None], harness[:, None])


@dataclass(frozen=True, slots=True)
class _Beach:
    """The beach wind of a slot as lognormal parts, moved to standard density, where edges are held.

    `ln_shift` is that move; caps of levels are held against wind as it blows, without it.
    """

    weight: FloatArray
    ln_mean: FloatArray
    ln_sd: FloatArray
    ln_gust: FloatArray
    gust_ln_sd: FloatArray
    strongest_ms: float
    ln_shift: float

    def below(self, x: FloatArray) -> FloatArray:
        """Probability that ln wind is below x."""
        return cast(FloatArray, ndtr((x[..., None] - self.ln_mean) / self.ln_sd) @ self.weight)

    def excess(self, x: FloatArray) -> FloatArray:
        """E[(ln wind - x)+]."""
        z = (x[..., None] - self.ln_mean) / self.ln_sd
        tail = self.ln_sd * (PDF_SCALE * np.exp(-0.5 * z * z) - z * ndtr(-z))
        return cast(FloatArray, tail @ self.weight)

    def quantile(self, share: float) -> float:
        """Return x with P(ln wind < x) = share."""
        far = 9 * self.ln_sd
        low, high = float((self.ln_mean - far).min()), float((self.ln_mean + far).max())
        return float(brentq(lambda x: float(self.below(np.array(x))) - share, low, high))

    def peak(self, risk: float) -> float:
        """Return ln of the gust that the slot's strongest hour exceeds with probability `risk`."""
        sd = self.gust_ln_sd
        return float((self.ln_gust - sd**2 / 2 + sd * float(ndtri(1 - risk))).max())


def _beach(slot: SlotWind) -> _Beach:
    shift = 0.5 * math.log(slot.density_kg_m3 / STANDARD_DENSITY)
    beach = math.log(BEACH_FACTOR)
    columns = [(p.weight, p.ln_mean, p.ln_sd, p.gust_ms, p.forecast_ln_sd) for p in slot.parts]
    weight, ln_mean, ln_sd, gust, forecast_sd = np.array(columns, dtype=np.float64).T
    return _Beach(
        weight=weight,
        ln_mean=ln_mean + beach + shift,
        ln_sd=np.maximum(ln_sd, NARROWEST_LN_SD),
        ln_gust=np.log(gust) + beach,
        gust_ln_sd=forecast_sd,
        strongest_ms=slot.strongest_mean_ms * BEACH_FACTOR,
        ln_shift=shift,
    )


class _Exact:
    """Shares from the distribution itself, cell by cell."""

    def __init__(self, edges: LnEdges) -> None:
        self.edges = edges

    def fill(self, beach: _Beach, under: FloatArray, over: FloatArray) -> FloatArray:
        """Fill the shares of one slot and return the expected excess."""
        under[:] = beach.below(self.edges.under)
        over[:] = 1 - beach.below(self.edges.over)
        return beach.excess(self.edges.over)


class _Table:
    """Shares from a table over ln wind: places in it are found once and serve every slot."""

    def __init__(self, edges: LnEdges) -> None:
        low, high = float(edges.under.min()), float(edges.over.max())
        self.x = np.linspace(low, max(high, low + NARROWEST_HALF), TABLE_CELLS + 1)
        self.under_cell, self.under_rest = self._place(edges.under)
        self.over_cell, self.over_rest = self._place(edges.over)
        self.held = np.empty_like(edges.under)

    def _place(self, edge: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
        place = (edge - self.x[0]) / (self.x[1] - self.x[0])
        cell = np.minimum(place.astype(np.intp), TABLE_CELLS - 1)
        return cell, place - cell

    def fill(self, beach: _Beach, under: FloatArray, over: FloatArray) -> FloatArray:
        """Fill the shares of one slot and return the expected excess."""
        below = beach.below(self.x)
        self._read(below, self.under_cell, self.under_rest, under)
        self._read(1 - below, self.over_cell, self.over_rest, over)
        excess = np.empty_like(over)
        self._read(beach.excess(self.x), self.over_cell, self.over_rest, excess)
        return excess

    def _read(self, table: FloatArray, cell: NDArray[np.intp], rest: FloatArray, out: FloatArray) -> None:
        np.take(np.diff(table), cell, out=out, mode="clip")
        out *= rest
        out += np.take(table, cell, out=self.held, mode="clip")


class _Worth:
    """Utility from shares: what doesn't depend on the slot is computed once."""

    def __init__(self, policy: Policy, edges: LnEdges) -> None:
        half = np.maximum((edges.over - edges.under) / 2, NARROWEST_HALF)
        self.policy = policy
        self.ideal = edges.ideal
        self.distance = policy.weight_distance / half**2

    def fill(
        self, beach: _Beach, under: FloatArray, over: FloatArray, excess: FloatArray, out: FloatArray
    ) -> None:
        """Fill the utility of one slot; `excess` is used up."""
        policy = self.policy
        mean = float(beach.weight @ beach.ln_mean)
        variance = float(beach.weight @ (beach.ln_sd**2 + (beach.ln_mean - mean) ** 2))
        np.subtract(self.ideal, mean, out=out)
        out *= out
        out += variance
        out *= self.distance
        excess *= policy.weight_excess
        out += excess
        out += np.multiply(under, 1 - policy.weight_under, out=excess)
        out += np.multiply(over, 1 + policy.weight_over, out=excess)
        np.subtract(1, out, out=out)


def _vetoes(
    policy: Policy,
    beach: _Beach,
    ranks: NDArray[np.int64],
    edges: LnEdges,
    off_shore: bool,
    safety_boat: bool,
) -> NDArray[np.uint8]:
    rider_bits, peaks, overs = (
        np.zeros(len(Level), dtype=np.uint8),
        np.zeros(len(Level)),
        np.zeros(len(Level)),
    )
    for level in {tuple(Level)[rank] for rank in np.unique(ranks)}:
        allowed = policy.levels[level]
        rank = level.rank
        cap_ms = from_knots(allowed.mean_cap_kn)
        peak = beach.peak(allowed.gust_risk)
        rider_bits[rank] |= Veto.MEAN if beach.strongest_ms > cap_ms else 0
        rider_bits[rank] |= Veto.GUST if peak > math.log(cap_ms * policy.gust_cap_factor) else 0
        forbidden = off_shore and not (safety_boat and rank >= policy.offshore_from.rank)
        rider_bits[rank] |= Veto.OFF_SHORE if forbidden else 0
        peaks[rank] = peak + beach.ln_shift - math.log(allowed.gust_tolerance)
        overs[rank] = beach.quantile(1 - allowed.over_risk) if allowed.over_risk < 1 else -math.inf
    bits = rider_bits[ranks] | (edges.over < peaks[ranks]) * np.uint8(Veto.GUST)
    bits |= (edges.over < overs[ranks]) * np.uint8(Veto.OVER)
    bits |= (edges.drift > beach.quantile(policy.becalmed_share)) * np.uint8(Veto.BECALMED)
    return cast(NDArray[np.uint8], bits)


def uphaul_share(area_m2: FloatArray, mass_kg: FloatArray) -> FloatArray:
    """Return the force at the start of uphauling over body weight: rig and a film of water, by levers."""
    pull = (rig_kg(area_m2) + WATER_KG_M2 * area_m2) * UPHAUL_ARM * luff_m(area_m2)
    return pull / (UPHAUL_LEVER * mass_kg)


def _too_big(policy: Policy, areas: FloatArray, people: _People) -> NDArray[np.bool_]:
    allowed = [policy.levels[level] for level in Level]
    caps = np.array([limit.area_cap_m2 or np.inf for limit in allowed])[people.ranks]
    pulls = np.array([limit.uphaul_share or np.inf for limit in allowed])[people.ranks]
    heavy = rig_kg(areas) > policy.rig_mass_share * people.mass
    learning = people.ranks <= Level.BEGINNER.rank
    hard = (uphaul_share(areas, people.mass) > pulls) | (heavy & learning)
    return np.asarray((areas > caps) | (hard & (areas > SMALLEST_SAIL_M2)))
