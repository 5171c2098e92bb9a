"""What the launch gates look at: the facts of one outing, and the limits they are held against."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Final

from rigging.levels import Level
from rigging.sun import SunTimes
from rigging.units import in_range
from rigging.wind import Shore

SUIT_MM: Final = ((24.0, 0.0), (20.0, 2.0), (17.0, 3.0), (14.0, 4.0), (11.0, 5.0), (8.0, 5.0))
"""Water at or above [C] -> least thickness at the trunk [mm]. Common practice, no source."""

DRYSUIT_BELOW_C: Final = 8.0
"""Below this a drysuit or no launch. Common practice, no source."""

AID_SCOPE_KG: Final = 25.0
"""Level 50 aids are for more than this body mass (scope of ISO 12402-5:2020, published)."""

AID_LEVEL_50_N: Final = ((70.0, 50.0), (60.0, 45.0), (40.0, 40.0), (AID_SCOPE_KG, 35.0))
"""Body mass above [kg] -> least buoyancy [N], level 50. ISO 12402-5 from memory: check the standard."""

AID_LEVEL_100_SMALL_N: Final = 40.0
"""Least buoyancy [N] for the smallest riders, level 100. ISO 12402-4 from memory: check the standard."""

HARD_GATES: Final[Mapping[str, bool]] = MappingProxyType(
    {
        "checklist": True,
        "kit_state": True,
        "rig_fit": True,
        "waiver": True,
        "guardian": True,
        "swim": True,
        "wind_now": False,
        "wind_ahead": False,
        "shore": True,
        "safety_boat": True,
        "daylight": True,
        "lightning": True,
        "suit": False,
        "buoyancy_aid": True,
        "instructor": True,
    }
)
"""Gate -> hard (refused) or soft (an instructor may override with a reason). A station setting's defaults."""

ALWAYS_HARD: Final = frozenset(
    {"checklist", "kit_state", "guardian", "daylight", "lightning", "buoyancy_aid"}
)
"""Gates that no station may soften: no reason makes it safe or lawful to pass them shut. Policy."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KitItem:
    """One item of the outing's kit: its tag and its state by the vocabulary's word."""

    tag: str
    state: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LaunchFacts:
    """Everything known about an outing when its rider wants to launch. None means not known.

    Winds are at the beach in m/s, temperatures in C, masses in kg, thickness in mm, buoyancy in N.
    `ahead_*` is the strongest forecast until `due`. `last_lightning_at` is the newest entry of the
    station's lightning log: there None is an answer (nothing logged).
    """

    now: datetime
    due: datetime | None
    level: Level | None
    age_years: float | None
    mass_kg: float | None
    waiver_signed: bool | None
    guardian_consents: bool | None
    swim_stated: bool | None
    lesson: bool | None
    instructor_present: bool | None
    riders_per_instructor: float | None
    cap_ms: float | None
    wind_mean_ms: float | None
    wind_gust_ms: float | None
    wind_at: datetime | None
    ahead_mean_ms: float | None
    ahead_gust_ms: float | None
    shore: Shore | None
    safety_boat_manned: bool | None
    sun: SunTimes | None
    last_lightning_at: datetime | None
    water_c: float | None
    suit_mm: float | None
    drysuit: bool = False
    buoyancy_n: float | None
    rig_fits: bool | None
    misfits: tuple[str, ...] = ()
    items: tuple[KitItem, ...] = ()
    checklist_passed: bool | None
    checklist_open: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class GateLimits:
    """Limits of the gates. Station settings; common practice, no source, unless said.

    `riders_per_instructor` 6 is published (a national association's school checklist), as is
    `lightning_hold_min` 30 (the NWS/NOAA 30-30 rule); fewer without a manned safety boat is common
    practice, no source. The safety lead of a station sets them.
    """

    gust_factor: float = 1.25
    override_factor: float = 1.15
    wind_age_min: float = 60.0
    dusk_margin_min: float = 30.0
    lightning_hold_min: float = 30.0
    adult_years: float = 18.0
    riders_per_instructor: float = 6.0
    riders_without_boat: float = 4.0
    instructor_levels: frozenset[Level] = frozenset({Level.TASTER})
    boat_levels: frozenset[Level] = frozenset({Level.TASTER, Level.BEGINNER, Level.IMPROVER})
    off_shore_levels: frozenset[Level] = frozenset({Level.INTERMEDIATE, Level.ADVANCED, Level.EXPERT})
    ready_states: frozenset[str] = frozenset({"ready", "rigged", "issued"})
    suit_mm: tuple[tuple[float, float], ...] = SUIT_MM
    drysuit_below_c: float = DRYSUIT_BELOW_C
    aid_n: tuple[tuple[float, float], ...] = AID_LEVEL_50_N


DEFAULT_LIMITS: Final = GateLimits()


def suit_needed_mm(water_c: float, limits: GateLimits = DEFAULT_LIMITS) -> float | None:
    """Least suit thickness at the trunk [mm] for a water temperature [C]; None where only a drysuit will do.

    Raises:
        BadValue: for water outside -3 to 45 C.

    Source: common practice, no source; a station setting.
    """
    in_range("water_c", water_c, "C", -3, 45)
    if water_c < limits.drysuit_below_c:
        return None
    fitting = (thickness for above, thickness in limits.suit_mm if water_c >= above)
    return min(fitting, default=None)


def aid_needed_n(mass_kg: float, limits: GateLimits = DEFAULT_LIMITS) -> float:
    """Least buoyancy [N] of a buoyancy aid for a body mass [kg]; small children need level 100.

    Raises:
        BadValue: for masses outside 10 to 200 kg.

    Source: ISO 12402-5 level 50 (12402-4 level 100 at 25 kg and less), from memory; check the standard.
    """
    in_range("mass_kg", mass_kg, "kg", 10, 200)
    enough = (newtons for above, newtons in limits.aid_n if mass_kg > above)
    return max(enough, default=AID_LEVEL_100_SMALL_N)
