"""Sails for one rider and slot, best first, each with its reasons and with what forbids it."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from rigging.kit import Sail
from rigging.reason import CALIBRATED, COMMON_PRACTICE, POLICY, Input, Reason
from rigging.sizing.riders import LevelPolicy, Policy, Rider
from rigging.sizing.suitability import Veto, suitability, uphaul_share
from rigging.sizing.window import Window, rig_kg, rule_area_m2, wind_window
from rigging.units import knots
from rigging.wind import BEACH_FACTOR, Shore, SlotWind

PLANING_SHARE: Final = 0.5
"""Share of the time over the planing limit from which a rider is said to plane; policy."""


class Mode(StrEnum):
    """How the rider will sail."""

    PLANING = "planing"
    CRUISING = "cruising"
    NOT_PLANING = "not planing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Recommendation:
    """One sail for a rider in a slot. It fits when nothing forbids it.

    Shares are of the time; `window` holds beach winds [m/s]; `vetoes` says what forbids, `reasons` why
    the numbers are what they are.
    """

    sail: Sail
    mode: Mode
    under: float
    powered: float
    over: float
    window: Window[float]
    utility: float
    vetoes: tuple[Reason, ...]
    reasons: tuple[Reason, ...]

    @property
    def fits(self) -> bool:
        """Whether nothing forbids the sail."""
        return not self.vetoes


def recommend(
    rider: Rider,
    sails: Sequence[Sail],
    slot: SlotWind,
    policy: Policy | None = None,
    *,
    shore: Shore | None = None,
    safety_boat: bool = False,
    trim: float = 0.0,
) -> tuple[Recommendation, ...]:
    """Return every sail for the rider in the slot: those that fit by utility, then the forbidden ones.

    Args:
        rider, sails, slot: whom, which (one or more), when; the slot's wind is at 10 m.
        policy: the station's settings, the safe defaults when None.
        shore: shore angle of the slot, None where unknown.
        safety_boat: whether a manned safety boat is out.
        trim: -1 to 1, as in `wind_window`.

    Raises:
        BadValue: for no sails, or a trim out of range.

    Notes:
        A forbidden sail stays in the list, behind, with its vetoes: it is never a recommendation, and
        where all are forbidden nobody is told to sail.
    """
    case = _Case(rider, slot, policy or Policy(), (*_shore_reasons(shore), *slot.reasons))
    areas = np.array([sail.area_m2 for sail in sails], dtype=np.float64)
    matrix = suitability(
        areas, [rider], [slot], case.policy, shores=[shore], safety_boat=safety_boat, trim=trim, exact=True
    )
    windows = wind_window(
        areas,
        rider.mass_kg,
        rider.stature_m,
        rider.level,
        slot.density_kg_m3,
        trim,
        harness=rider.harness,
    )
    found = [
        _recommendation(
            case,
            sail,
            Window(*(float(edge[at]) for edge in windows)),
            (float(matrix.under[0, at, 0]), float(matrix.over[0, at, 0])),
            float(matrix.utility[0, at, 0]),
            Veto(int(matrix.vetoes[0, at, 0])),
        )
        for at, sail in enumerate(sails)
    ]
    return tuple(sorted(found, key=lambda r: (not r.fits, -r.utility, r.sail.area_m2, r.sail.name)))


def one_size_down(found: Sequence[Recommendation], chosen: Recommendation) -> Recommendation | None:
    """Return the best of the next smaller sails that fit, for when it blows up, or None."""
    smaller = [r for r in found if r.fits and r.sail.area_m2 < chosen.sail.area_m2]
    return max(smaller, key=lambda r: (r.sail.area_m2, r.utility), default=None)


@dataclass(frozen=True, slots=True)
class _Case:
    """Whom a sail is for and when, with the reasons that all sails share."""

    rider: Rider
    slot: SlotWind
    policy: Policy
    reasons: tuple[Reason, ...]

    @property
    def allowed(self) -> LevelPolicy:
        """What the station allows the rider's level."""
        return self.policy.levels[self.rider.level]


def _recommendation(
    case: _Case, sail: Sail, window: Window[float], shares: tuple[float, float], utility: float, vetoes: Veto
) -> Recommendation:
    under, over = shares
    powered = max(0.0, 1 - under - over)
    mode = Mode.NOT_PLANING
    if case.rider.level.planes:
        mode = Mode.PLANING if 1 - under >= PLANING_SHARE else Mode.CRUISING
    return Recommendation(
        sail=sail,
        mode=mode,
        under=under,
        powered=powered,
        over=over,
        window=window,
        utility=utility,
        vetoes=tuple(_SAY[veto](case, sail, window, over) for veto in Veto if veto & vetoes),
        reasons=(*_reasons(case, sail, window, (under, powered, over)), *case.reasons),
    )


def _shore_reasons(shore: Shore | None) -> Iterator[Reason]:
    if shore is None:
        text = "Where the wind blows from is not known: make sure that it isn't off-shore before launching."
        yield Reason(text, "off-shore wind is looked at where it isn't forecast", COMMON_PRACTICE)


def _reasons(
    case: _Case, sail: Sail, window: Window[float], shares: tuple[float, float, float]
) -> Iterator[Reason]:
    rider, slot = case.rider, case.slot
    starts = "planes" if rider.level.planes else "sails"
    low, ideal, high = (knots(edge) for edge in window)
    who = f"{rider.mass_kg:g} kg at {rider.level} level"
    text = (
        f"For {who} a {sail.area_m2:g} m² sail {starts} from {low:.0f} kn of beach wind, is at its best at "
        f"{ideal:.0f} kn and is too much from {high:.0f} kn."
    )
    inputs = (
        Input("mass", rider.mass_kg, "kg"),
        Input("stature", rider.stature_m if rider.stature_m is not None else "usual for the mass", "m"),
        Input("level", rider.level),
        Input("area", sail.area_m2, "m²"),
        Input("air density", slot.density_kg_m3, "kg/m³"),
    )
    yield Reason(text, "planing limit and righting limit", f"sizing model, {CALIBRATED}", inputs)
    under, powered, over = (f"{100 * share:.0f} %" for share in shares)
    text = f"In this slot it is underpowered {under}, powered {powered} and overpowered {over} of the time."
    winds = (Input("mean at 10 m", slot.mean_ms, "m/s"), Input("gust at 10 m", slot.gust_ms, "m/s"))
    yield Reason(text, "lognormal wind by hour, against the window", "the slot's wind", winds)
    if rider.level.planes:
        beach = max(slot.mean_ms * BEACH_FACTOR, 0.5)
        area = rule_area_m2(rider.mass_kg, beach)
        text = f"Rule of thumb: 1.34 x {rider.mass_kg:g} kg / {knots(beach):.0f} kn = {area:.1f} m²."
        yield Reason(text, "A = 1.34 m / V", COMMON_PRACTICE, ())


def _mean(case: _Case, sail: Sail, window: Window[float], over: float) -> Reason:
    strongest, cap = knots(case.slot.strongest_mean_ms * BEACH_FACTOR), case.allowed.mean_cap_kn
    text = (
        f"The beach wind reaches {strongest:.1f} kn; the limit for {case.rider.level} riders is {cap:g} kn."
    )
    return Reason(text, "level's limit on the hourly mean", POLICY, (Input("limit", cap, "kn"),))


def _gust(case: _Case, sail: Sail, window: Window[float], over: float) -> Reason:
    gust = knots(case.slot.beach_gust_ms)
    limit = case.allowed.mean_cap_kn * case.policy.gust_cap_factor
    text = f"Gusts reach {gust:.1f} kn on the beach; the limit for {case.rider.level} riders is {limit:g} kn."
    return Reason(text, "level's limit on gusts", POLICY, (Input("limit", limit, "kn"),))


def _hold(case: _Case, sail: Sail, window: Window[float], over: float) -> Reason:
    allowed = case.allowed
    gust, limit = knots(case.slot.beach_gust_ms), knots(window.beach_over_ms) * allowed.gust_tolerance
    text = (
        f"Gusts of {gust:.0f} kn are forecast on the beach. This sail can be held up to {limit:.0f} kn, "
        f"and the chance of more is over {100 * allowed.gust_risk:.0f} %."
    )
    rule = "gust within the sail's upper edge x tolerance"
    return Reason(text, rule, POLICY, (Input("gust", gust, "kn"), Input("limit", limit, "kn")))


def _over(case: _Case, sail: Sail, window: Window[float], over: float) -> Reason:
    share, risk = 100 * over, 100 * case.allowed.over_risk
    text = f"Overpowered {share:.0f} % of the time; {case.rider.level} riders at most {risk:.0f} %."
    return Reason(text, "share of the time over the upper edge", POLICY, (Input("share", over),))


def _off_shore(case: _Case, sail: Sail, window: Window[float], over: float) -> Reason:
    if case.rider.level.rank < case.policy.offshore_from.rank:
        text = f"The wind is off-shore: {case.rider.level} riders stay ashore."
    else:
        text = "The wind is off-shore and no manned safety boat is out."
    return Reason(text, "off-shore wind", f"{COMMON_PRACTICE}; {POLICY}", (Input("level", case.rider.level),))


def _size(case: _Case, sail: Sail, window: Window[float], over: float) -> Reason:
    rig = rig_kg(float(sail.area_m2))
    pull = 100 * float(uphaul_share(np.array(sail.area_m2), np.array(case.rider.mass_kg)))
    text = (
        f"A {sail.area_m2:g} m² rig weighs about {rig:.1f} kg, and uphauling starts at {pull:.0f} % of "
        f"{case.rider.mass_kg:g} kg: too much sail for {case.rider.level} level."
    )
    if case.allowed.area_cap_m2 is not None:
        text += f" Its largest is {case.allowed.area_cap_m2:g} m²."
    source = "school checklist of a national association (rig at most 1/6 of body mass); station setting"
    return Reason(
        text, "uphaul force, rig mass, largest sail of the level", source, (Input("rig", rig, "kg"),)
    )


def _becalmed(case: _Case, sail: Sail, window: Window[float], over: float) -> Reason:
    mean = knots(case.slot.beach_mean_ms)
    share = 100 * case.policy.becalmed_share
    text = (
        f"With {mean:.0f} kn on the beach this sail can't be sailed back for over {share:.0f} % of the time."
    )
    return Reason(text, "drive against displacement drag", CALIBRATED, (Input("mean", mean, "kn"),))


_Sentence = Callable[[_Case, Sail, Window[float], float], Reason]
_SAY: Final[dict[Veto, _Sentence]] = {
    Veto.MEAN: _mean,
    Veto.GUST: _gust,
    Veto.OVER: _over,
    Veto.OFF_SHORE: _off_shore,
    Veto.SIZE: _size,
    Veto.BECALMED: _becalmed,
    Veto.HOLD: _hold,
}
