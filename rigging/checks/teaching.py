"""Teaching: how many instructors a group needs, and whether the wind is one to teach in."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from types import MappingProxyType
from typing import Final

from rigging.levels import Level
from rigging.reason import COMMON_PRACTICE, POLICY, Input, Reason
from rigging.units import in_range, knots

AGE_YEARS: Final = (3.0, 110.0)
MOST_TO_ONE: Final = 12.0
MAX_WIND_MS: Final = 40.0

CHILD_BELOW_YEARS: Final = 12.0
"""Age below which a student counts as a child. Status: policy."""

RIDERS_TO_ONE: Final[Mapping[Level, float]] = MappingProxyType(
    {
        Level.TASTER: 6.0,
        Level.BEGINNER: 6.0,
        Level.IMPROVER: 6.0,
        Level.INTERMEDIATE: 6.0,
        Level.ADVANCED: 8.0,
        Level.EXPERT: 8.0,
    }
)
"""Most riders to one instructor by level. Six: as the launch gate has it, published (a national association's
school checklist); eight for those who need no fetching: policy."""

CHILDREN_TO_ONE: Final = 4.0
"""Most children to one instructor, whatever the level. Status: policy; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Ratio:
    """Most riders, and most children, to one instructor."""

    riders: float
    children: float
    child_below_years: float = CHILD_BELOW_YEARS

    @classmethod
    def usual(cls, level: Level) -> "Ratio":
        """The trade's usual ratio for a level."""
        return cls(RIDERS_TO_ONE[level], min(RIDERS_TO_ONE[level], CHILDREN_TO_ONE))


@dataclass(frozen=True, slots=True)
class Needed:
    """How many instructors a group needs, and why."""

    instructors: int
    reason: Reason


def instructors_needed(ages_years: Sequence[float], ratio: Ratio) -> Needed:
    """Return how many instructors teach a group: each child and each other rider takes a share of one.

    Args:
        ages_years: age of each student [years], shape (students,).
        ratio: most riders and children to one.

    Raises:
        BadValue: an age or a ratio out of range.

    Notes:
        Shares add up, so that a mixed group of three children at four to one and three others at six to one
        takes 3/4 + 3/6 = 1.25 instructors: two.
    """
    most = in_range("riders to one", ratio.riders, "", 1, MOST_TO_ONE)
    most_children = in_range("children to one", ratio.children, "", 1, MOST_TO_ONE)
    ages = [in_range("age", age, "years", *AGE_YEARS) for age in ages_years]
    children = sum(age < ratio.child_below_years for age in ages)
    others = len(ages) - children
    # Rounded before the ceiling: three times a third is one instructor, not two.
    count = ceil(round(children / most_children + others / most, 9))
    who = _counted(others, "student", "students")
    if children:
        who = f"{who} and {_counted(children, 'child', 'children')}"
    text = (
        f"{_counted(count, 'instructor', 'instructors')} for {who}: at most {most:g} to one, "
        f"{most_children:g} below {ratio.child_below_years:g} years."
    )
    inputs = (Input("students", len(ages)), Input("of them children", children))
    rule = "shares of one instructor by age, added up and rounded up"
    return Needed(count, Reason(text, rule, f"{COMMON_PRACTICE}; {POLICY}", inputs))


def _counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


@dataclass(frozen=True, slots=True)
class Teachable:
    """Whether a wind is one to teach in: `side` is -1 below the range, 0 within, 1 above."""

    side: int
    reason: Reason

    @property
    def ok(self) -> bool:
        """Whether the wind is within the range."""
        return self.side == 0


def teachable(*, mean_ms: float, strongest_ms: float, low_ms: float, high_ms: float) -> Teachable:
    """Judge a lesson's beach wind against its range: the mean must reach the low end, no hour pass the high.

    Args:
        mean_ms: mean over the lesson [m/s], at head height.
        strongest_ms: mean of its strongest hour [m/s], at head height.
        low_ms, high_ms: the lesson's range [m/s], at head height.

    Raises:
        BadValue: a wind out of range, or a range upside down.
    """
    low = in_range("low_ms", low_ms, "m/s", 0, MAX_WIND_MS)
    high = in_range("high_ms", high_ms, "m/s", low, MAX_WIND_MS)
    mean = in_range("mean_ms", mean_ms, "m/s", 0, MAX_WIND_MS)
    strongest = in_range("strongest_ms", strongest_ms, "m/s", 0, MAX_WIND_MS)
    kn_low, kn_high, kn_mean, kn_strongest = (float(knots(each)) for each in (low, high, mean, strongest))
    span = f"{kn_low:.0f} to {kn_high:.0f} kn"
    if strongest > high:
        side, text = 1, f"Too strong: {kn_strongest:.0f} kn in the strongest hour, the lesson takes {span}."
    elif mean < low:
        side, text = -1, f"Too light: {kn_mean:.0f} kn on average, the lesson takes {span}."
    else:
        side, text = 0, f"{kn_mean:.0f} kn on average, {kn_strongest:.0f} kn at most: within {span}."
    inputs = (
        Input("mean beach wind", mean, "m/s"),
        Input("strongest hour", strongest, "m/s"),
        Input("from", low, "m/s"),
        Input("to", high, "m/s"),
    )
    return Teachable(
        side, Reason(text, "mean at least, no hour above", f"{COMMON_PRACTICE}; {POLICY}", inputs)
    )
