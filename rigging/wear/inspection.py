"""Inspections: what is due by hours, rig-ups, sun or days since the last one, and what is held back."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from math import inf
from types import MappingProxyType
from typing import Final

from rigging.reason import COMMON_PRACTICE, POLICY, Input, Reason
from rigging.units import BadValue, in_range

EN_365: Final = (
    "EN 365, periodic examination at least every 12 months (a pattern: sport is outside its scope)"
)

DEFAULT_GRACE_DAYS: Final = 1.0
"""Days past the limit before an item is held back. Station setting; common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Counters:
    """What an item has gathered: water hours, rig-ups, hours of sun while rigged."""

    hours: float = 0.0
    rig_ups: float = 0.0
    sun_hours: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectionRule:
    """An inspection and its intervals; None means that this counter doesn't matter.

    Raises:
        BadValue: for a rule without any interval, or intervals that are not above 0.
    """

    name: str
    every_hours: float | None = None
    every_rig_ups: float | None = None
    every_sun_hours: float | None = None
    every_days: float | None = None
    source: str = COMMON_PRACTICE

    def __post_init__(self) -> None:
        given = [each for each in self.intervals if each[1] is not None]
        if not given:
            raise BadValue("rule", self.name, "", "given at least one interval")
        for unit, every, _ in given:
            in_range(f"every {unit}", every if every is not None else inf, unit, 1e-3, 1e6)

    @property
    def intervals(self) -> tuple[tuple[str, float | None, str], ...]:
        """Unit in words, interval, and the counter's name (empty for days)."""
        return (
            ("water hours", self.every_hours, "hours"),
            ("rig-ups", self.every_rig_ups, "rig_ups"),
            ("sun hours", self.every_sun_hours, "sun_hours"),
            ("days", self.every_days, ""),
        )


DEFAULT_RULES: Final[Mapping[str, tuple[InspectionRule, ...]]] = MappingProxyType(
    {
        "sail": (
            InspectionRule(name="panels, seams, film", every_hours=60, every_sun_hours=150, every_days=90),
        ),
        "mast": (InspectionRule(name="joint and walls", every_hours=100, every_rig_ups=60, every_days=180),),
        "boom": (
            InspectionRule(name="clamp, tail pins, lines", every_hours=60, every_rig_ups=40, every_days=60),
        ),
        "extension": (
            InspectionRule(name="pin, pulleys, collar", every_hours=60, every_rig_ups=40, every_days=60),
        ),
        "base": (InspectionRule(name="tendon or joint, back-up strap", every_hours=40, every_days=30),),
        "board": (InspectionRule(name="hull, straps, track", every_hours=80, every_days=90),),
        "fin": (InspectionRule(name="head, screw, edge", every_hours=80, every_days=90),),
        "harness": (InspectionRule(name="hook, buckle, lines", every_hours=60, every_days=60),),
        "buoyancy aid": (InspectionRule(name="float test, seams, buckles", every_days=365, source=EN_365),),
        "wetsuit": (InspectionRule(name="seams and zip", every_days=180),),
        "helmet": (InspectionRule(name="shell, straps, age", every_days=365, source=EN_365),),
    }
)
"""Intervals to start from, by kind of item. Station settings; common practice, no source, unless said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InspectionDue:
    """One inspection of one item: how much of its interval is used, by which counter, and when it is due.

    `due_on` looks ahead at the pace given; None where no pace is known and days don't matter.
    """

    rule: InspectionRule
    used: float
    by: str
    due: bool
    held_back: bool
    due_on: date | None
    reason: Reason


def inspection_due(
    rule: InspectionRule,
    since: Counters,
    last_on: date,
    today: date,
    *,
    pace_per_day: Counters | None = None,
    grace_days: float = DEFAULT_GRACE_DAYS,
) -> InspectionDue:
    """Return where an item stands with one inspection.

    Args:
        rule: the inspection and its intervals.
        since: what the item gathered since the last inspection (or since new).
        last_on: day of the last inspection (or of first use).
        today: the station's day; before `last_on` no days have passed.
        pace_per_day: what it gathers in a day, to look ahead.
        grace_days: days past due before it is held back; a counter without a pace holds back at once.

    Raises:
        BadValue: for negative or endless counters, paces and grace.

    Source: intervals by `rule.source`; whichever counter comes first.
    """
    _checked(since)
    _checked(pace_per_day or Counters())
    in_range("grace_days", grace_days, "days", 0, 60)
    days = max((today - last_on).days, 0)
    used, by, every, gathered = max(_shares(rule, since, days), key=lambda share: share[0])
    left = min(_days_left(rule, since, days, pace_per_day or Counters()))
    due = used >= 1
    return InspectionDue(
        rule=rule,
        used=used,
        by=by,
        due=due,
        held_back=due and _past_grace(rule, since, days, pace_per_day or Counters(), grace_days),
        due_on=today if due else None if left > _MOST_DAYS else today + timedelta(days=int(left)),
        reason=Reason(
            text=f"{rule.name}: {gathered:,.0f} of {every:,.0f} {by} used{', due' if due else ''}.",
            rule="due when the first of its counters reaches the interval",
            source=f"{rule.source}; {POLICY}",
            inputs=(Input(by, gathered), Input("interval", every)),
        ),
    )


def inspections(
    rules: Iterable[InspectionRule],
    since: Mapping[str, Counters],
    last_on: Mapping[str, date],
    today: date,
    *,
    pace_per_day: Counters | None = None,
    grace_days: float = DEFAULT_GRACE_DAYS,
) -> tuple[InspectionDue, ...]:
    """Return all inspections of one item, the most used first; `since` and `last_on` by the rule's name.

    Raises:
        BadValue: as `inspection_due`, and for a rule without a record of its own.
    """
    found = []
    for rule in rules:
        if rule.name not in since or rule.name not in last_on:
            raise BadValue("inspection", rule.name, "", "counted and dated")
        found.append(
            inspection_due(
                rule,
                since[rule.name],
                last_on[rule.name],
                today,
                pace_per_day=pace_per_day,
                grace_days=grace_days,
            )
        )
    return tuple(sorted(found, key=lambda each: (-each.used, each.rule.name)))


_MOST_DAYS: Final = 36_500.0


def _checked(counters: Counters) -> None:
    for name in ("hours", "rig_ups", "sun_hours"):
        in_range(name, getattr(counters, name), "", 0, 1e7)


def _shares(rule: InspectionRule, since: Counters, days: float) -> list[tuple[float, str, float, float]]:
    """Share of the interval used, unit, interval and what was gathered, for each counter that matters."""
    gathered = [(unit, every, _of(since, name, days)) for unit, every, name in rule.intervals]
    return [(value / every, unit, every, value) for unit, every, value in gathered if every is not None]


def _of(counters: Counters, name: str, days: float) -> float:
    return float(getattr(counters, name)) if name else float(days)


def _days_left(rule: InspectionRule, since: Counters, days: float, pace: Counters) -> list[float]:
    """Days until each counter reaches its interval; negative past it, endless where nothing is gathered."""
    left = []
    for _, every, name in rule.intervals:
        if every is not None:
            per_day = _of(pace, name, 1.0)
            missing = every - _of(since, name, days)
            left.append(missing / per_day if per_day > 0 else (inf if missing > 0 else -inf))
    return left


def _past_grace(
    rule: InspectionRule, since: Counters, days: float, pace: Counters, grace_days: float
) -> bool:
    return min(_days_left(rule, since, days, pace)) < -grace_days
