"""Inspections: how every item stands with them, what is due, and what the station has settled."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from django.db.models import Max, QuerySet

from rentals.bench.mapping import Due, Worn, dues, to_core
from rentals.bench.models import (
    Inspection,
    Interval,
    Setting,
)
from rentals.bench.queries.items import worn_items
from rentals.fleet.models import HoldBack, Item, Kind
from rentals.fleet.states import ItemState
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.stations.models import Station
from rigging import wear


@dataclass(frozen=True, slots=True)
class Standing:
    """An item with its inspections, the most used first, and what holds it back."""

    worn: Worn
    dues: tuple[Due, ...]
    held: tuple[HoldBack, ...]

    @property
    def item(self) -> Item:
        """The item itself."""
        return self.worn.item


def standings(station: Station, *, today: date) -> list[Standing]:
    """Return how every item in use stands with its inspections: four queries, however many items."""
    in_use = Item.objects.filter(station=station).exclude(state=ItemState.WITHDRAWN)
    return standings_of(in_use.order_by("model__kind", "tag"), today=today)


def standings_of(items: QuerySet[Item], *, today: date) -> list[Standing]:
    """Return how items stand with their inspections: four queries."""
    ids = items.order_by().values("pk")
    newest = Inspection.objects.filter(item__in=ids, passed=True).order_by().values("item", "name")
    last: defaultdict[int, dict[str, Inspection]] = defaultdict(dict)
    for record in Inspection.objects.filter(pk__in=newest.annotate(last=Max("id")).values("last")):
        last[record.item_id][record.name] = record
    held: defaultdict[int, list[HoldBack]] = defaultdict(list)
    for each in HoldBack.objects.standing().filter(item__in=ids).order_by("since", "id"):
        held[each.item_id].append(each)
    intervals: defaultdict[int, list[Interval]] = defaultdict(list)
    for interval in Interval.objects.filter(station__in=items.order_by().values("station")):
        intervals[interval.station_id].append(interval)
    return [
        Standing(
            worn,
            dues(worn, intervals[worn.item.station_id], last[worn.item.pk], today, grace_days),
            tuple(held[worn.item.pk]),
        )
        for worn, grace_days in worn_items(items)
    ]


@dataclass(frozen=True, slots=True)
class DueRow:
    """One inspection that is due, of one item."""

    item: Item
    due: Due
    held: bool


@dataclass(frozen=True, slots=True)
class Inspections:
    """The inspections page: what is due now, what comes within a week, and what is held back."""

    due: tuple[DueRow, ...]
    weekly: Mapping[str, tuple[DueRow, ...]]
    soon: tuple[DueRow, ...]
    held: tuple[tuple[Item, HoldBack], ...]


SOON_DAYS = 7
WEEKLY_SOON_DAYS = 2


def inspections_at(station: Station, *, today: date) -> Inspections:
    """Return what a station has to inspect: four queries."""
    rows = standings(station, today=today)
    every = [
        DueRow(row.item, due, any(each.subject == due.name for each in row.held))
        for row in rows
        for due in row.dues
    ]
    pressing = sorted((row for row in every if row.due.stands.due), key=lambda row: -row.due.stands.used)
    ahead = [
        row
        for row in every
        if row.due.stands.due_on is not None and 0 < (row.due.stands.due_on - today).days <= SOON_DAYS
    ]
    weekly: defaultdict[str, list[DueRow]] = defaultdict(list)
    for row in every:
        by = row.due.stands.due_on
        pressing_soon = by is not None and (by - today).days <= WEEKLY_SOON_DAYS
        here = row.item.state != ItemState.ISSUED
        if here and pressing_soon and row.due.planned.occasion is wear.Occasion.WEEKLY:
            weekly[row.item.model.kind].append(row)
    return Inspections(
        due=tuple(row for row in pressing if row.due.planned.occasion is not wear.Occasion.WEEKLY),
        weekly={kind: tuple(found) for kind, found in weekly.items()},
        soon=tuple(row for row in ahead if row.due.planned.occasion is not wear.Occasion.WEEKLY),
        held=tuple((row.item, each) for row in rows for each in row.held),
    )


@dataclass(frozen=True, slots=True)
class IntervalRow:
    """An inspection of a kind or model with its intervals, and whether the station settled them itself."""

    kind: str
    model: str
    planned: wear.Planned
    own: bool

    @property
    def words(self) -> str:
        """Its intervals as people say them."""
        said = [f"{every:g} {unit}" for unit, every, _ in self.planned.rule.intervals if every is not None]
        return " or ".join(said)


def intervals_at(station: Station) -> list[IntervalRow]:
    """Return the intervals of every kind, and of models that have their own: one query."""
    own = list(Interval.objects.filter(station=station).select_related("model").order_by("model__name"))
    rows = []
    for kind in Kind.values:
        of_kind = {each.name: each for each in own if each.kind == kind and each.model is None}
        of_model = [each for each in own if each.kind == kind and each.model is not None]
        for plan in wear.planned(kind.replace("_", " ")):
            mine = of_kind.get(plan.rule.name)
            rows.append(
                IntervalRow(kind, "", replace(plan, rule=to_core(mine)) if mine else plan, mine is not None)
            )
            rows += [
                IntervalRow(kind, str(each.model), replace(plan, rule=to_core(each)), True)
                for each in of_model
                if each.name == plan.rule.name
            ]
    return rows


def held_back(actor: Actor, station: Station, hold_back_id: int) -> HoldBack:
    """Return what holds an item of a station back: one query.

    Raises:
        NotVisible: there is nothing of that number any more.
    """
    standing = HoldBack.objects.visible_to(actor).standing().filter(item__station=station, pk=hold_back_id)
    found = standing.select_related("item__model").first()
    if found is None:
        raise NotVisible("That does not hold an item back any more.")
    return found


def settled(station: Station) -> dict[str, object]:
    """Return what a station has settled about its bench, as a form shows it: one query."""
    setting = setting_of(station)
    return {
        "grace_days": setting.grace_days,
        "released_by": setting.released_by,
    }


def setting_of(station: Station) -> Setting:
    """Return what a station has settled about its bench, or the defaults: one query."""
    return Setting.objects.filter(station=station).first() or Setting(station=station)
