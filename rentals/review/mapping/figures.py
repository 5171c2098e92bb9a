"""A period's facts as figures: each a table, its words and, where it helps, a chart."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import groupby
from typing import Final
from zoneinfo import ZoneInfo

from django.utils.safestring import mark_safe

from rentals.fleet.models import Item, ItemModel, Kind
from rentals.lib import charts
from rentals.lib.money import Money
from rentals.lib.tables import Table, Tag, Value
from rentals.review.mapping.facts import Facts, Fault, Inspected, Use
from rigging import rates

HOUR_S: Final = 3600
CENT: Final = Decimal("0.01")
MOST_BARS: Final = 14
REPEATS: Final = 2
"""Faults of one item in a period from which they are called repeated. Status: policy."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One thing a page says: its table, and its chart where there is something to draw."""

    table: Table
    spec: charts.Spec | None = None

    @property
    def drawing(self) -> str:
        """The chart as SVG, empty where there is none."""
        if self.spec is None:
            return ""
        return mark_safe(charts.drawn(self.spec, title=self.table.title, says=self.table.says))  # noqa: S308 - escaped there


def figures(facts: Facts) -> tuple[Figure, ...]:
    """Return the figures of a review in the order of its page."""
    return (
        months(facts),
        use_by_size(facts),
        use(facts),
        takings(facts),
        short(facts),
        incidents(facts),
        inspections(facts),
        overdue(facts),
        repeats(facts),
    )


def months(facts: Facts) -> Figure:
    """Outings by month, and what became of those that did not go afloat."""
    names = [f"{month:%b %Y}" for month in facts.months]
    counted = list(facts.months.values())
    busiest = max(zip(counted, names, strict=True), key=lambda pair: pair[0].launched, default=None)
    said = "Nobody went afloat."
    if busiest and busiest[0].launched:
        said = f"{facts.launches} launches; most in {busiest[1]} with {busiest[0].launched}."
    table = Table(
        name="months",
        title="Launches by month",
        columns=("Month", "Launches", "Cancelled", "Did not come", "Hours afloat"),
        rows=tuple(
            (name, month.launched, month.cancelled, month.missed, month.water_s / HOUR_S)
            for name, month in zip(names, counted, strict=True)
        ),
        says=said,
    )
    series = {
        "went afloat": [month.launched for month in counted],
        "cancelled": [month.cancelled for month in counted],
        "did not come": [month.missed for month in counted],
    }
    drawn = len(names) > 1 and any(any(values) for values in series.values())
    return Figure(table=table, spec=charts.stacks(names, series, unit="outings") if drawn else None)


def use_by_size(facts: Facts) -> Figure:
    """Hours of sails and boards by size: which sizes are in demand, and which lie about."""
    sizes: defaultdict[tuple[str, float], list[Use]] = defaultdict(list)
    for item in facts.items:
        size = _size(item.model)
        if size is not None:
            sizes[item.model.kind, size].append(facts.uses.get(item.pk, Use(0, 0)))
    rows = [
        (
            _sized(kind, size),
            len(uses),
            sum(use.outings for use in uses),
            _hours(uses),
            _hours(uses) / len(uses),
        )
        for (kind, size), uses in sorted(
            sizes.items(), key=lambda each: (each[0][0] != Kind.SAIL, each[0][1])
        )
    ]
    busiest = max(rows, key=lambda row: row[-1], default=None)
    table = Table(
        name="sizes",
        title="Use by size",
        columns=("Size", "Items", "Outings", "Hours", "Hours per item"),
        rows=tuple(rows),
        says=f"Most used for each item: {busiest[0]}, {busiest[-1]:.0f} h."
        if busiest and busiest[-1]
        else "",
    )
    drawn = bool(busiest and busiest[-1])
    spec = charts.bars([row[0] for row in rows], [row[-1] for row in rows], unit="hours per item")
    return Figure(table=table, spec=spec if drawn else None)


def use(facts: Facts) -> Figure:
    """Use of each model, its faults, and what an hour of it has cost so far."""
    faults = Counter(fault.item_id for fault in facts.faults)
    minutes: Counter[int] = Counter()
    for fault in facts.faults:
        minutes[fault.item_id] += fault.minutes
    rows: list[tuple[Value, ...]] = []
    for model, of_model in groupby(facts.items, key=lambda item: item.model):
        items = tuple(of_model)
        uses = [facts.uses.get(item.pk, Use(0, 0)) for item in items]
        cost = facts.cost_per_hour(items)
        rows.append(
            (
                model.name,
                model.kind.replace("_", " "),
                len(items),
                sum(each.outings for each in uses),
                _hours(uses),
                _hours(uses) / len(items),
                sum(faults[item.pk] for item in items),
                sum(minutes[item.pk] for item in items),
                ", ".join(f"{total:.2f} {currency}" for total, currency in facts.bench_costs(items)),
                None if cost is None else cost.quantize(CENT),
            )
        )
    money = next((cost.currency for cost in facts.costs.values()), "")
    table = Table(
        name="use",
        title="Use of each model",
        columns=(
            "Model",
            "Kind",
            "Items",
            "Outings",
            "Hours",
            "Hours per item",
            "Faults",
            "Bench minutes",
            "Bench costs so far",
            f"Cost per hour so far{f' ({money})' if money else ''}",
        ),
        rows=tuple(rows),
        says="Cost per hour so far: the items new and their faults, over all hours afloat. A fault costs "
        "what the bench noted; where it noted no cost in that currency, the usual cost of a fault.",
    )
    return Figure(table=table)


def takings(facts: Facts) -> Figure:
    """Sales by the ledger, month by month, and what outings brought for each hour that kit was afloat."""
    everything: Counter[tuple[date, str]] = Counter()
    outings: Counter[tuple[date, str]] = Counter()
    for sales in facts.sales:
        key = sales.day.replace(day=1), sales.everything.currency
        everything[key] += sales.everything.minor
        outings[key] += sales.outings.minor
    rows = tuple(
        (
            f"{month:%b %Y}",
            currency,
            Money(everything[month, currency], currency).amount,
            Money(outings[month, currency], currency).amount,
            facts.months[month].water_s / HOUR_S,
            _per_hour(Money(outings[month, currency], currency), facts.months[month].water_s),
        )
        for month, currency in sorted(everything)
    )
    table = Table(
        name="takings",
        title="Takings per hour of kit",
        columns=("Month", "Currency", "Sales", "Of these outings", "Hours afloat", "Outings per hour"),
        rows=rows,
        says=_said_of_takings(facts, outings),
        when_empty="The ledger has no sales in this time.",
    )
    known = [(row[0], float(row[-1])) for row in rows if row[-1] is not None]
    one = len({currency for _, currency in everything}) == 1
    spec = charts.bars([name for name, _ in known], [per for _, per in known], unit="outings' sales per hour")
    return Figure(table=table, spec=spec if one and known and len(known) <= MOST_BARS else None)


def _said_of_takings(facts: Facts, outings: Counter[tuple[date, str]]) -> str:
    said = ["By the ledger, without tax; what was taken back is subtracted."]
    for currency in sorted({currency for _, currency in outings}):
        total = Money(sum(minor for (_, each), minor in outings.items() if each == currency), currency)
        per_hour = _per_hour(total, facts.water_s)
        if per_hour is not None:
            said.append(
                f"{total} for outings over {facts.water_s / HOUR_S:,.0f} hours afloat: {per_hour} an hour."
            )
    return " ".join(said)


def _per_hour(money: Money, water_s: int) -> Decimal | None:
    return (money.amount * HOUR_S / water_s).quantize(CENT) if water_s else None


def short(facts: Facts) -> Figure:
    """Riders whom the accepted day plans left without a rig, and what was short."""
    riders = sum(each.riders for each in facts.short)
    said = f"{riders} in {facts.days_planned} planned day{'' if facts.days_planned == 1 else 's'}."
    table = Table(
        name="short",
        title="Riders without a rig, and why",
        columns=("Why", "Riders", "Days"),
        rows=tuple((each.why, each.riders, each.days) for each in facts.short),
        says=said,
        when_empty="No accepted day plan left a rider without a rig in this time."
        if facts.days_planned
        else "No day was planned in this time; what the shed lacked is known from day plans only.",
    )
    shown = facts.short[:MOST_BARS]
    spec = charts.bars([each.why for each in shown], [each.riders for each in shown], unit="riders")
    return Figure(table=table, spec=spec if shown else None)


def incidents(facts: Facts) -> Figure:
    """Incidents per thousand launches by kind, with exact limits, held against the months before."""
    launches = facts.launches
    counts = Counter(each.kind.replace("_", " ") for each in facts.incidents)
    found: dict[str, rates.Rate] = {}
    said = ""
    if launches:
        found = {kind: rates.rate_limits(count, launches) for kind, count in counts.most_common()}
        found["all"] = rates.rate_limits(len(facts.incidents), launches)
        said = found["all"].reason.text
        if facts.launches_before:
            before = facts.incidents_before, facts.launches_before
            compared = rates.compare(len(facts.incidents), launches, *before)
            said = f"{said} Against {facts.period.before}: {compared.reason.text}"
    table = Table(
        name="incidents",
        title="Incidents per thousand launches",
        columns=("Kind", "Incidents", "Launches", "Per thousand", "Lower limit (95 %)", "Upper limit (95 %)"),
        rows=tuple(
            (kind, rate.count, launches, rate.per_thousand, rate.low, rate.high)
            for kind, rate in found.items()
        ),
        says=said,
        when_empty="Nobody went afloat in this time, so there is no rate.",
    )
    spec = charts.whiskers(
        list(found),
        [rate.per_thousand for rate in found.values()],
        [rate.low for rate in found.values()],
        [rate.high for rate in found.values()],
        unit="per thousand launches",
    )
    return Figure(table=table, spec=spec if found else None)


def inspections(facts: Facts) -> Figure:
    """Inspections by kind: how many found defects, and how many were made by their due day."""
    of_kind: defaultdict[str, list[Inspected]] = defaultdict(list)
    for each in facts.inspections:
        of_kind[each.kind.replace("_", " ")].append(each)
    dated = [each.in_time for each in facts.inspections if each.in_time is not None]
    said = f"{sum(dated)} of {len(dated)} that had a due day were made by it." if dated else ""
    table = Table(
        name="inspections",
        title="Inspections",
        columns=("Kind", "Made", "With defects", "Had a due day", "By that day", "By that day (%)"),
        rows=tuple(_discipline(kind, made) for kind, made in sorted(of_kind.items())),
        says=said,
        when_empty="No inspection is on record in this time.",
    )
    return Figure(table=table)


def _discipline(kind: str, made: Sequence[Inspected]) -> tuple[Value, ...]:
    dated = [each.in_time for each in made if each.in_time is not None]
    share = 100 * sum(dated) / len(dated) if dated else None
    return kind, len(made), sum(not each.passed for each in made), len(dated), sum(dated), share


def overdue(facts: Facts) -> Figure:
    """Inspections past due and grace now, whatever months are looked at."""
    count = len(facts.overdue)
    table = Table(
        name="overdue",
        title="Inspections overdue now",
        columns=("Item", "Model", "Inspection", "Held back since", "Why"),
        rows=tuple(
            (Tag(each.tag), each.model, each.name, each.since.astimezone(facts.zone).date(), each.text)
            for each in facts.overdue
        ),
        says=f"{count} now; each holds its item back." if count else "",
        when_empty="No inspection is overdue now.",
    )
    return Figure(table=table)


def repeats(facts: Facts) -> Figure:
    """Items that came to the bench again and again."""
    of_item: defaultdict[int, list[Fault]] = defaultdict(list)
    for fault in facts.faults:
        of_item[fault.item_id].append(fault)
    by_pk = {item.pk: item for item in facts.items}
    again = {pk: found for pk, found in of_item.items() if len(found) >= REPEATS and pk in by_pk}
    order = sorted(again, key=lambda pk: (-len(again[pk]), pk))
    rows = tuple(_repeat(by_pk[pk], again[pk], facts.zone) for pk in order)
    table = Table(
        name="repeats",
        title="Repeated faults",
        columns=("Item", "Model", "Faults", "Last", "What"),
        rows=rows,
        says=f"{len(rows)} item{'' if len(rows) == 1 else 's'} with {REPEATS} faults or more.",
        when_empty="No item had more than one fault in this time.",
    )
    return Figure(table=table)


def _repeat(item: Item, found: Sequence[Fault], zone: ZoneInfo) -> tuple[Value, ...]:
    said = Counter(fault.fault for fault in found)
    words = [f"{what} ({count} times)" if count > 1 else what for what, count in said.most_common()]
    last: date = found[-1].opened_at.astimezone(zone).date()
    return Tag(item.tag), item.model.name, len(found), last, "; ".join(words)


def _hours(uses: Sequence[Use]) -> float:
    return sum(use.water_s for use in uses) / HOUR_S


def _size(model: ItemModel) -> float | None:
    return {Kind.SAIL.value: model.area_m2, Kind.BOARD.value: model.volume_l}.get(model.kind)


def _sized(kind: str, size: float) -> str:
    return f"sail {size:.1f} m²" if kind == Kind.SAIL else f"board {size:.0f} l"


def named(all_figures: Sequence[Figure], name: str) -> Iterator[Figure]:
    """Yield the figure of a name, if there is one."""
    return (figure for figure in all_figures if figure.table.name == name)
