"""Who rides, and what a station allows each level."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

from rigging.levels import Level
from rigging.units import BadValue, Numbers, array_in_range, keep_in_range, shaped

MASS_KG: Final = (20.0, 160.0)
STATURE_M: Final = (0.9, 2.3)

# -- constants: value, unit, source, status ---------------------------------------------------------
USUAL_STATURE: Final = (1.75, 75.0, 0.25)  # m, kg, exponent; stature of unmeasured riders; calibrated
USUAL_STATURE_M: Final = (1.05, 1.98)  # m; its limits; calibrated


@dataclass(frozen=True, slots=True, kw_only=True)
class Rider:
    """A rider: body mass [kg], stature [m] (None when not measured), level, whether in a harness.

    Raises:
        BadValue: for a mass outside 20-160 kg, a stature outside 0.9-2.3 m, an unknown level.
    """

    mass_kg: float
    stature_m: float | None = None
    level: Level = Level.TASTER
    harness: bool = True

    def __post_init__(self) -> None:
        keep_in_range(self, "mass_kg", "kg", *MASS_KG)
        if self.stature_m is not None:
            keep_in_range(self, "stature_m", "m", *STATURE_M)
        object.__setattr__(self, "level", level_of(self.level))


def level_of(word: str) -> Level:
    """Return the level named by `word`; raises BadValue with the known ones."""
    try:
        return Level(word)
    except ValueError:
        raise BadValue("level", word, "", "one of " + ", ".join(Level)) from None


def usual_stature_m(mass_kg: Numbers) -> Numbers:
    """Return the stature [m] that riders of unknown stature count as by mass [kg]; raises BadValue."""
    stature, mass, exponent = USUAL_STATURE
    ratio = array_in_range("mass_kg", mass_kg, "kg", *MASS_KG) / mass
    return shaped((stature * ratio**exponent).clip(*USUAL_STATURE_M), mass_kg)


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelPolicy:
    """What a station allows one level.

    Attributes:
        mean_cap_kn: highest hourly mean of the beach wind [kn].
        gust_tolerance: gust allowed over the sail's upper edge, as a factor.
        gust_risk: highest probability of a stronger gust.
        over_risk: highest share of the time overpowered.
        uphaul_share: highest force at the start of uphauling over body weight (None: waterstarts).
        area_cap_m2: largest sail (None: no limit).
    """

    mean_cap_kn: float
    gust_tolerance: float
    gust_risk: float
    over_risk: float
    uphaul_share: float | None = None
    area_cap_m2: float | None = None

    def __post_init__(self) -> None:
        keep_in_range(self, "mean_cap_kn", "kn", 1, 60)
        keep_in_range(self, "gust_tolerance", "", 1, 2)
        keep_in_range(self, "gust_risk", "", 0.001, 0.5)
        keep_in_range(self, "over_risk", "", 0.001, 1)
        if self.uphaul_share is not None:
            keep_in_range(self, "uphaul_share", "", 0.1, 2)
        if self.area_cap_m2 is not None:
            keep_in_range(self, "area_cap_m2", "m²", 1.5, 15)


# Caps: common practice, no source. Tolerances, risks and uphaul shares: policy, calibrated on the cases of
# the sizing model; its five levels are ours with beginner and improver under one row.
_LEVELS: Final[Mapping[Level, LevelPolicy]] = MappingProxyType(
    {
        Level.TASTER: LevelPolicy(
            mean_cap_kn=11,
            gust_tolerance=1.10,
            gust_risk=0.15,
            over_risk=0.15,
            uphaul_share=0.41,
            area_cap_m2=5.5,
        ),
        Level.BEGINNER: LevelPolicy(
            mean_cap_kn=13,
            gust_tolerance=1.15,
            gust_risk=0.20,
            over_risk=0.20,
            uphaul_share=0.47,
            area_cap_m2=5.5,
        ),
        Level.IMPROVER: LevelPolicy(
            mean_cap_kn=16,
            gust_tolerance=1.15,
            gust_risk=0.20,
            over_risk=0.20,
            uphaul_share=0.60,
            area_cap_m2=6.5,
        ),
        Level.INTERMEDIATE: LevelPolicy(mean_cap_kn=21, gust_tolerance=1.22, gust_risk=0.25, over_risk=0.30),
        Level.ADVANCED: LevelPolicy(mean_cap_kn=28, gust_tolerance=1.30, gust_risk=0.25, over_risk=0.35),
        Level.EXPERT: LevelPolicy(mean_cap_kn=35, gust_tolerance=1.35, gust_risk=0.30, over_risk=0.40),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy:
    """A station's settings for choosing sails; the defaults are safe for a beach without a boat.

    Attributes:
        levels: limits by level.
        gust_cap_factor: highest gust over a level's mean cap.
        offshore_from: lowest level that may go out in off-shore wind, and then with a safety boat only.
        becalmed_share: highest share of the time without wind enough to sail back.
        rig_mass_share: heaviest rig over body mass for those who don't plane yet (published, 1/6).
        weight_under, weight_over, weight_excess, weight_distance: utility = powered + weight_under x under
            - weight_over x over - weight_excess x E[ln excess over the upper edge]
            - weight_distance x E[squared ln distance from ideal] / half-width squared.
    """

    levels: Mapping[Level, LevelPolicy] = field(default_factory=lambda: _LEVELS)
    gust_cap_factor: float = 1.25
    offshore_from: Level = Level.INTERMEDIATE
    becalmed_share: float = 0.5
    rig_mass_share: float = 1 / 6
    weight_under: float = 0.30
    weight_over: float = 0.60
    weight_excess: float = 2.0
    weight_distance: float = 0.10

    def __post_init__(self) -> None:
        missing = [level for level in Level if level not in self.levels]
        if missing:
            raise BadValue("levels", "without " + ", ".join(missing), "", "limits for all six levels")
        keep_in_range(self, "gust_cap_factor", "", 1, 2)
        keep_in_range(self, "becalmed_share", "", 0.01, 0.99)
        keep_in_range(self, "rig_mass_share", "", 0.05, 1)
        keep_in_range(self, "weight_under", "", 0, 1)
        keep_in_range(self, "weight_over", "", self.weight_under, 10)
        keep_in_range(self, "weight_excess", "", 0, 100)
        keep_in_range(self, "weight_distance", "", 0, 10)
