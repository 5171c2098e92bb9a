"""How a slot divides for every rider and sail: under, powered, over, what it is worth, what forbids it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntFlag
from typing import Any, Final, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigging.later import special
from rigging.levels import Level
from rigging.sizing.riders import Policy, Rider, usual_stature_m
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
TABLE_CELLS: Final = 1024  # cells over ln wind in which the distribution itself is evaluated
TABLE_PARTS: Final = 32  # parts of a cell, linear between its ends; a share is read from the nearest
QUANTILE_CELLS: Final = 256  # cells in which a quantile is bracketed
NEWTON_STEPS: Final = 4  # from there to double precision
TINY: Final = 1e-300  # keeps a step finite where the density vanishes
PDF_SCALE: Final = 1 / math.sqrt(2 * math.pi)


Shares = NDArray[np.float32] | NDArray[np.float64]


class Veto(IntFlag):
    """What forbids a sail to a rider in a slot.

    The level's limits on mean and gust, gusts that this sail can't be held in, too much of the time
    overpowered, off-shore wind, a sail too heavy for the rider, too little wind to sail back.
    """

    MEAN = 1
    GUST = 2
    OVER = 4
    OFF_SHORE = 8
    SIZE = 16
    BECALMED = 32
    HOLD = 64


@dataclass(frozen=True, slots=True)
class Suitability:
    """Matrices of riders x sails x slots: shares of the time, utility, and what forbids (`Veto` bits).

    Single precision from the table, which is finer than the table itself; double when exact.
    """

    under: Shares
    over: Shares
    utility: Shares
    vetoes: NDArray[np.uint8]

    @property
    def in_(self) -> Shares:
        """Share of the time powered."""
        # Rounding may leave a hair less than nothing.
        return np.maximum(1 - self.under - self.over, 0)

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
        exact: evaluate shares cell by cell instead of from a table over ln wind (within 5e-4).

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
    _refuse_empty(riders, slots, shores)
    people = _people(riders)
    trim = in_range("trim", trim, "", -1, 1)
    edges = ln_edges(areas, people.mass, people.stature, people.ranks, people.harness, STANDARD_DENSITY, trim)
    size = _too_big(policy, areas, people) * np.uint8(Veto.SIZE)
    shares: _Exact | _Table = _Exact(policy, edges) if exact else _Table(policy, edges)
    worth = _Worth(policy, edges, shares.dtype)
    shape = (len(slots), len(riders), areas.size)
    under, over, utility = (np.empty(shape, dtype=shares.dtype) for _ in range(3))
    vetoes = np.empty(shape, dtype=np.uint8)
    for index, slot in enumerate(slots):
        beach = _beach(slot)
        penalty = shares.fill(beach, under[index], over[index])
        worth.fill(beach, under[index], penalty, utility[index])
        off = shores is not None and shores[index] is Shore.OFF_SHORE
        limits = _limits(policy, beach, people.ranks, off and not safety_boat, off)
        np.bitwise_or(size, _vetoes(limits, people.ranks, edges), out=vetoes[index])
    return Suitability(
        np.moveaxis(under, 0, -1),
        np.moveaxis(over, 0, -1),
        np.moveaxis(utility, 0, -1),
        np.moveaxis(vetoes, 0, -1),
    )


def _refuse_empty(
    riders: Sequence[Rider], slots: Sequence[SlotWind], shores: Sequence[Shore | None] | None
) -> None:
    if not riders or not slots:
        name = "slots" if riders else "riders"
        raise BadValue(name, 0, name, "one or more")
    if shores is not None and len(shores) != len(slots):
        raise BadValue("shores", len(shores), "shores", f"as many as the {len(slots)} slots, in")


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

    `strongest_ms` and `gust_ms` are wind as it blows: levels' limits are held against them.
    """

    weight: FloatArray
    ln_mean: FloatArray
    ln_sd: FloatArray
    ln_gust: FloatArray
    gust_ln_sd: FloatArray
    strongest_ms: float
    gust_ms: float

    def below(self, x: FloatArray) -> FloatArray:
        """Probability that ln wind is below x."""
        return cast(FloatArray, special.ndtr((x[..., None] - self.ln_mean) / self.ln_sd) @ self.weight)

    def excess(self, x: FloatArray) -> FloatArray:
        """E[(ln wind - x)+]."""
        z = (x[..., None] - self.ln_mean) / self.ln_sd
        tail = self.ln_sd * (PDF_SCALE * np.exp(-0.5 * z * z) - z * special.ndtr(-z))
        return cast(FloatArray, tail @ self.weight)

    def quantiles(self, shares: FloatArray) -> FloatArray:
        """Return the x with P(ln wind < x) = share, for each of `shares`."""
        far = 9 * self.ln_sd
        x = np.linspace((self.ln_mean - far).min(), (self.ln_mean + far).max(), QUANTILE_CELLS + 1)
        below = self.below(x)
        cell = np.searchsorted(below, shares).clip(1, QUANTILE_CELLS)
        low, high = x[cell - 1], x[cell]
        found = np.interp(shares, below, x)
        for _ in range(NEWTON_STEPS):
            z = (found[:, None] - self.ln_mean) / self.ln_sd
            density = (PDF_SCALE * np.exp(-0.5 * z * z) / self.ln_sd) @ self.weight
            step = (self.below(found) - shares) / np.maximum(density, TINY)
            found = (found - step).clip(low, high)
        return found

    def peak(self, risk: float) -> float:
        """Return ln of the gust that the slot's strongest hour exceeds with probability `risk`."""
        sd = self.gust_ln_sd
        return float((self.ln_gust - sd**2 / 2 + sd * float(special.ndtri(1 - risk))).max())


def _beach(slot: SlotWind) -> _Beach:
    shift = 0.5 * math.log(slot.density_kg_m3 / STANDARD_DENSITY)
    beach = math.log(BEACH_FACTOR)
    columns = [(p.weight, p.ln_mean, p.ln_sd, p.gust_ms, p.forecast_ln_sd) for p in slot.parts]
    weight, ln_mean, ln_sd, gust, forecast_sd = np.array(columns, dtype=np.float64).T
    return _Beach(
        weight=weight,
        ln_mean=ln_mean + beach + shift,
        ln_sd=np.maximum(ln_sd, NARROWEST_LN_SD),
        ln_gust=np.log(gust) + beach + shift,
        gust_ln_sd=forecast_sd,
        strongest_ms=slot.strongest_mean_ms * BEACH_FACTOR,
        gust_ms=slot.beach_gust_ms,
    )


def _penalty(policy: Policy, beach: _Beach, x: FloatArray, over: FloatArray) -> FloatArray:
    return (1 + policy.weight_over) * over + policy.weight_excess * beach.excess(x)


class _Exact:
    """Shares from the distribution itself, cell by cell."""

    dtype: type[np.floating[Any]] = np.float64

    def __init__(self, policy: Policy, edges: LnEdges) -> None:
        self.policy = policy
        self.edges = edges

    def fill(self, beach: _Beach, under: Shares, over: Shares) -> Shares:
        """Fill the shares of one slot; return what being overpowered costs."""
        under[:] = beach.below(self.edges.under)
        above = 1 - beach.below(self.edges.over)
        over[:] = above
        return _penalty(self.policy, beach, self.edges.over, above)


class _Table:
    """Shares from a table over ln wind: places in it are found once and serve every slot."""

    dtype: type[np.floating[Any]] = np.float32

    def __init__(self, policy: Policy, edges: LnEdges) -> None:
        self.policy = policy
        low, high = float(edges.under.min()), float(edges.over.max())
        self.x = np.linspace(low, max(high, low + NARROWEST_HALF), TABLE_CELLS + 1)
        self.under = self._places(edges.under)
        self.over = self._places(edges.over)
        self.penalty = np.empty(edges.over.shape, dtype=self.dtype)

    def _places(self, edge: FloatArray) -> NDArray[np.intp]:
        part = float(self.x[1] - self.x[0]) / TABLE_PARTS
        return ((edge - float(self.x[0])) / part).astype(np.intp)

    def fill(self, beach: _Beach, under: Shares, over: Shares) -> Shares:
        """Fill the shares of one slot; return what being overpowered costs, to be used up."""
        below = beach.below(self.x)
        above = 1 - below
        penalty = _penalty(self.policy, beach, self.x, above)
        # The last place lies on the upper end itself, which clipping reads from the part before.
        np.take(_finer(below), self.under, out=under, mode="clip")
        np.take(_finer(above), self.over, out=over, mode="clip")
        return np.take(_finer(penalty), self.over, out=self.penalty, mode="clip")


_MIDDLES: Final = (np.arange(TABLE_PARTS) + 0.5) / TABLE_PARTS


def _finer(table: FloatArray) -> NDArray[np.float32]:
    """Return the middles of each cell's parts, linear between the cell's ends."""
    middles = table[:-1, None] + np.diff(table)[:, None] * _MIDDLES
    return middles.astype(np.float32).reshape(-1)


class _Worth:
    """Utility from shares: what doesn't depend on the slot is computed once."""

    def __init__(self, policy: Policy, edges: LnEdges, dtype: type[np.floating[Any]]) -> None:
        half = np.maximum((edges.over - edges.under) / 2, NARROWEST_HALF)
        self.lost_under = 1 - policy.weight_under
        self.ideal = edges.ideal.astype(dtype)
        self.distance = (policy.weight_distance / half**2).astype(dtype)

    def fill(self, beach: _Beach, under: Shares, penalty: Shares, out: Shares) -> None:
        """Fill the utility of one slot, in place to spare memory; `penalty` is used up."""
        mean = float(beach.weight @ beach.ln_mean)
        variance = float(beach.weight @ (beach.ln_sd**2 + (beach.ln_mean - mean) ** 2))
        np.subtract(self.ideal, mean, out=out)
        out *= out
        out += variance
        out *= self.distance
        out += penalty
        out += np.multiply(under, self.lost_under, out=penalty)
        np.subtract(1, out, out=out)


@dataclass(frozen=True, slots=True)
class _Limits:
    """What a slot asks of each level's riders, by rank: bits that hold for any sail, and lowest edges."""

    bits: NDArray[np.uint8]
    gust: FloatArray
    over: FloatArray
    drift: float


def _limits(
    policy: Policy, beach: _Beach, ranks: NDArray[np.int64], no_boat: bool, off_shore: bool
) -> _Limits:
    bits, gust = np.zeros(len(Level), dtype=np.uint8), np.full(len(Level), -np.inf)
    shares = np.array([1 - policy.levels[level].over_risk for level in Level] + [policy.becalmed_share])
    quantiles = beach.quantiles(shares)
    for rank in np.unique(ranks):
        allowed = policy.levels[_LEVELS[rank]]
        cap_ms = from_knots(allowed.mean_cap_kn)
        gust[rank] = beach.peak(allowed.gust_risk) - math.log(allowed.gust_tolerance)
        if beach.strongest_ms > cap_ms:
            bits[rank] |= Veto.MEAN
        if beach.gust_ms > cap_ms * policy.gust_cap_factor:
            bits[rank] |= Veto.GUST
        if no_boat or (off_shore and rank < policy.offshore_from.rank):
            bits[rank] |= Veto.OFF_SHORE
    return _Limits(bits, gust, quantiles[:-1], float(quantiles[-1]))


_LEVELS: Final = tuple(Level)


def _vetoes(limits: _Limits, ranks: NDArray[np.int64], edges: LnEdges) -> NDArray[np.uint8]:
    bits = limits.bits[ranks] | (edges.over < limits.gust[ranks]) * np.uint8(Veto.HOLD)
    bits |= (edges.over < limits.over[ranks]) * np.uint8(Veto.OVER)
    bits |= (edges.drift > limits.drift) * np.uint8(Veto.BECALMED)
    return bits


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
