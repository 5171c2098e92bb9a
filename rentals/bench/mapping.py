"""Items with what they gathered as the wear formulas take them, and which inspections each goes through."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date

from rentals.bench.models import Inspection, Interval
from rentals.fleet.models import Item
from rigging import wear

SECOND_H = 1 / 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class Worn:
    """An item with what it gathered beside its water time and rig-ups."""

    item: Item
    weighted_s: int
    salt_s: int
    sun_s: int
    outings: int = 0

    @property
    def fresh_s(self) -> int:
        """Seconds in fresh water."""
        return max(self.item.water_s - self.salt_s, 0)


@dataclass(frozen=True, slots=True)
class Due:
    """One inspection of an item: what is planned, where it stands, and the last one that was passed."""

    planned: wear.Planned
    stands: wear.InspectionDue
    last: Inspection | None

    @property
    def name(self) -> str:
        """Of the inspection."""
        return self.planned.rule.name

    @property
    def percent(self) -> int:
        """Share of the interval used, in whole percent, for a bar."""
        return min(round(100 * self.stands.used), 100)

    @property
    def renews(self) -> bool:
        """Whether a part is replaced, not looked at."""
        return self.planned.occasion is wear.Occasion.RENEWAL


def planned_for(item: Item, intervals: Iterable[Interval]) -> tuple[wear.Planned, ...]:
    """Return the inspections of an item: the usual ones, with its station's intervals where it has its own.

    An interval of the model goes before one of its kind.
    """
    own: dict[str, Interval] = {}
    for interval in sorted(intervals, key=lambda each: each.model_id is not None):
        if interval.kind == item.model.kind and interval.model_id in (None, item.model_id):
            own[interval.name] = interval
    usual = wear.planned(item.model.kind.replace("_", " "))
    return tuple(
        replace(each, rule=to_core(own[each.rule.name])) if each.rule.name in own else each for each in usual
    )


def to_core(interval: Interval) -> wear.InspectionRule:
    """Return a station's interval as the wear formulas take it."""
    return wear.InspectionRule(
        name=interval.name,
        every_hours=interval.every_hours,
        every_rig_ups=interval.every_rig_ups,
        every_sun_hours=interval.every_sun_hours,
        every_days=interval.every_days,
        source="station setting",
    )


def due(worn: Worn, plan: wear.Planned, last: Inspection | None, today: date, grace_days: float) -> Due:
    """Return where an item stands with one inspection, counted from the last or from when it was bought.

    An item whose age nobody knows and that was never inspected is counted by hours alone.
    """
    item = worn.item
    since = wear.Counters(
        hours=(worn.weighted_s - (last.weighted_s if last else 0)) * SECOND_H,
        rig_ups=item.rig_ups - (last.rig_ups if last else 0),
        sun_hours=(worn.sun_s - (last.sun_s if last else 0)) * SECOND_H,
    )
    begun = last.at.date() if last else item.bought_on or today
    days = max((today - begun).days, 1)
    pace = wear.Counters(
        hours=since.hours / days, rig_ups=since.rig_ups / days, sun_hours=since.sun_hours / days
    )
    stands = wear.inspection_due(
        plan.rule, since, min(begun, today), today, pace_per_day=pace, grace_days=grace_days
    )
    return Due(plan, stands, last)


def dues(
    worn: Worn,
    intervals: Iterable[Interval],
    last: Mapping[str, Inspection],
    today: date,
    grace_days: float,
) -> tuple[Due, ...]:
    """Return all inspections of an item, the most used first."""
    found = [
        due(worn, plan, last.get(plan.rule.name), today, grace_days)
        for plan in planned_for(worn.item, intervals)
    ]
    return tuple(sorted(found, key=lambda each: (-each.stands.used, each.name)))
