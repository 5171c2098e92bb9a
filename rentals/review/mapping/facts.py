"""A period's facts as they are counted, before they become tables."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from rentals.fleet.models import Item
from rentals.review.mapping.period import Period
from rentals.review.models import ModelCost
from rentals.takings.queries import DaySales


@dataclass(frozen=True, slots=True)
class Use:
    """What an item did in a period."""

    outings: int
    water_s: int


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault found in a period."""

    item_id: int
    fault: str
    opened_at: datetime
    minutes: int


@dataclass(frozen=True, slots=True)
class BenchCost:
    """What the bench noted for an item in one currency, and on how many of its jobs."""

    cost: Decimal
    jobs: int


@dataclass(frozen=True, slots=True)
class Overdue:
    """An inspection that holds an item back now."""

    tag: str
    model: str
    name: str
    since: datetime
    text: str


@dataclass(frozen=True, slots=True)
class Month:
    """Outings of a month by what became of them."""

    launched: int = 0
    cancelled: int = 0
    missed: int = 0
    water_s: int = 0


@dataclass(frozen=True, slots=True)
class Short:
    """Riders whom the day plans left without a rig, by what was short."""

    why: str
    riders: int
    days: int


@dataclass(frozen=True, slots=True)
class Happened:
    """One incident as it is told now."""

    kind: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Inspected:
    """One inspection: of what kind of item, with what result, and whether by its due day (None: none set)."""

    kind: str
    passed: bool
    in_time: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """Everything that the figures of a period rest on."""

    zone: ZoneInfo
    period: Period
    items: tuple[Item, ...]
    uses: Mapping[int, Use]
    faults: tuple[Fault, ...]
    faults_ever: Mapping[int, int]
    costs: Mapping[int, ModelCost]
    months: Mapping[date, Month]
    short: tuple[Short, ...]
    days_planned: int
    incidents: tuple[Happened, ...]
    incidents_before: int
    launches_before: int
    inspections: tuple[Inspected, ...]
    overdue: tuple[Overdue, ...]
    bench: Mapping[tuple[int, str], BenchCost]
    sales: tuple[DaySales, ...]

    @property
    def launches(self) -> int:
        """Outings that went afloat."""
        return sum(month.launched for month in self.months.values())

    @property
    def water_s(self) -> int:
        """Seconds that riders were afloat."""
        return sum(month.water_s for month in self.months.values())

    def cost_per_hour(self, items: tuple[Item, ...]) -> Decimal | None:
        """Cost of items of one model for each hour that they were afloat so far; None without either.

        Each is bought once, and every fault costs on top: what the bench noted in the currency of the new
        one, or the usual cost of a fault where it noted none.
        """
        cost = self.costs.get(items[0].model_id)
        hours = Decimal(sum(item.water_s for item in items)) / 3600
        if cost is None or not hours:
            return None
        faults = sum(self.faults_ever.get(item.pk, 0) for item in items)
        noted = [self.bench.get((item.pk, cost.currency), BenchCost(Decimal(), 0)) for item in items]
        usual = cost.fault_cost * (faults - sum(each.jobs for each in noted))
        return (cost.new_cost * len(items) + sum(each.cost for each in noted) + usual) / hours

    def bench_costs(self, items: tuple[Item, ...]) -> tuple[tuple[Decimal, str], ...]:
        """What the bench noted for items so far, by currency."""
        ids = {item.pk for item in items}
        sums: defaultdict[str, Decimal] = defaultdict(Decimal)
        for (item_id, currency), noted in self.bench.items():
            if item_id in ids:
                sums[currency] += noted.cost
        return tuple((sums[currency], currency) for currency in sorted(sums))
