"""A period counted: use, faults, outings by month, riders left without a rig."""

from collections import Counter, defaultdict
from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Case, Count, F, IntegerField, OuterRef, Q, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce

from rentals.bench.models import Inspection, Job, JobLine, WearPosting
from rentals.bookings.models import Outing
from rentals.bookings.states import OutingState
from rentals.dayplan.models import Plan
from rentals.dayplan.states import PlanState
from rentals.fleet.models import Cause, HoldBack, Item
from rentals.incidents.models import Telling
from rentals.lib.access import Act, Actor
from rentals.lib.tables import listed
from rentals.review.mapping.facts import (
    BenchCost,
    Facts,
    Fault,
    Happened,
    Inspected,
    Month,
    Overdue,
    Short,
    Use,
)
from rentals.review.mapping.period import Period
from rentals.review.models import ModelCost
from rentals.review.queries.life import BY_SIZE
from rentals.stations.models import Station
from rentals.takings.queries import sales_by_day


def facts(actor: Actor, station: Station, period: Period) -> Facts:
    """Return what a station's months rest on: thirteen queries, however many years, items and outings.

    Raises:
        NotVisible, NotAllowed: no role here, or none that covers it.
    """
    actor.require(Act.REVIEW, station_id=station.pk)
    short, planned = _short(station, period)
    incidents, incidents_before = _incidents(station, period)
    begin, end = period.before.span(station.zone)
    before = Outing.objects.filter(station=station, starts_at__gte=begin, starts_at__lt=end)
    return Facts(
        zone=station.zone,
        period=period,
        items=tuple(Item.objects.filter(station=station).select_related("model").order_by(*BY_SIZE)),
        uses=_uses(station, period),
        faults=_faults(station, period),
        faults_ever=dict(
            Job.objects.filter(item__station=station).values_list("item_id").annotate(count=Count("id"))
        ),
        costs={
            cost.model_id: cost
            for cost in ModelCost.objects.filter(station=station).select_related("station")
        },
        months=_months(station, period),
        short=short,
        days_planned=planned,
        incidents=incidents,
        incidents_before=incidents_before,
        inspections=_inspections(station, period),
        overdue=_overdue(station),
        bench=_bench(station),
        sales=tuple(sales_by_day(station, period.first, period.after)),
        launches_before=before.filter(launched_at__isnull=False).count(),
    )


def _uses(station: Station, period: Period) -> Mapping[int, Use]:
    start, end = period.span(station.zone)
    outings = Outing.objects.filter(station=station, starts_at__gte=start, starts_at__lt=end)
    rows = WearPosting.objects.filter(outing__in=outings).values_list("item_id")
    counted = rows.annotate(outings=Count("id"), water=Sum("water_s"))
    return {item_id: Use(outings, water) for item_id, outings, water in counted}


def _faults(station: Station, period: Period) -> tuple[Fault, ...]:
    start, end = period.span(station.zone)
    jobs = Job.objects.filter(item__station=station, opened_at__gte=start, opened_at__lt=end)
    lines = JobLine.objects.filter(job=OuterRef("pk")).order_by().values("job")
    noted = Subquery(lines.annotate(total=Sum("minutes")).values("total"))
    worked = Coalesce(noted, Value(0)) + Coalesce(F("minutes"), Value(0))
    rows = jobs.annotate(worked=worked).order_by("opened_at", "id")
    return tuple(Fault(*row) for row in rows.values_list("item_id", "fault", "opened_at", "worked"))


def _bench(station: Station) -> Mapping[tuple[int, str], BenchCost]:
    """What the bench noted for each item by currency; SQLite adds as floats, so it is rounded again."""
    lines = JobLine.objects.filter(job__item__station=station, cost__isnull=False)
    rows = lines.values_list("job__item_id", "currency")
    return {
        (item_id, currency): BenchCost(cost.quantize(Decimal("0.01")), jobs)
        for item_id, currency, cost, jobs in rows.annotate(
            total=Sum("cost"), jobs=Count("job", distinct=True)
        )
    }


def _overdue(station: Station) -> tuple[Overdue, ...]:
    """Inspections past due and grace: the bench holds their items back by itself."""
    held = HoldBack.objects.standing().filter(cause=Cause.INSPECTION, item__station=station)
    rows = held.order_by("since", "item__tag", "subject")
    return tuple(
        Overdue(*row)
        for row in rows.values_list("item__tag", "item__model__name", "subject", "since", "text")
    )


def _months(station: Station, period: Period) -> Mapping[date, Month]:
    start, end = period.span(station.zone)
    outings = Outing.objects.filter(station=station, starts_at__gte=start, starts_at__lt=end)
    rows = (
        outings.annotate(month=_month_number(station, period))
        .values_list("month")
        .annotate(
            launched=Count("id", filter=Q(launched_at__isnull=False)),
            cancelled=Count("id", filter=Q(state=OutingState.CANCELLED)),
            missed=Count("id", filter=Q(state=OutingState.NO_SHOW)),
            water=Sum(F("ashore_at") - F("launched_at")),
        )
    )
    counted = {
        period.months[number]: Month(
            launched, cancelled, missed, round(water.total_seconds()) if water else 0
        )
        for number, launched, cancelled, missed, water in rows
    }
    return {month: counted.get(month, Month()) for month in period.months}


def _incidents(station: Station, period: Period) -> tuple[tuple[Happened, ...], int]:
    """What happened in a period, by the tellings in force, and how much in the months before."""
    start, end = period.span(station.zone)
    told = Telling.objects.newest().filter(
        incident__station=station, happened_at__gte=period.before.span(station.zone)[0], happened_at__lt=end
    )
    found = [Happened(kind, at) for kind, at in told.values_list("kind", "happened_at")]
    now = tuple(each for each in found if each.at >= start)
    return now, len(found) - len(now)


def _inspections(station: Station, period: Period) -> tuple[Inspected, ...]:
    """Inspections made in a period, each held against the day that the one before it had set."""
    start, end = period.span(station.zone)
    same = Inspection.objects.filter(item=OuterRef("item"), name=OuterRef("name"), at__lt=OuterRef("at"))
    rows = (
        Inspection.objects.filter(item__station=station, at__gte=start, at__lt=end)
        .annotate(due=Subquery(same.order_by("-at").values("next_due")[:1]))
        .values_list("item__model__kind", "passed", "at", "due")
    )
    return tuple(
        Inspected(kind, passed, None if due is None else station.local(at).date() <= due)
        for kind, passed, at, due in rows
    )


def _month_number(station: Station, period: Period) -> Case:
    """Number the months by comparing with their ends: SQLite would ask Python for the month of every row."""
    ends = [Period.of_month(month).span(station.zone)[1] for month in period.months]
    whens = (When(starts_at__lt=end, then=Value(number)) for number, end in enumerate(ends))
    return Case(*whens, output_field=IntegerField())


def _short(station: Station, period: Period) -> tuple[tuple[Short, ...], int]:
    """Riders without a rig in the plan that was in force on each day, by what left them out."""
    plans = Plan.objects.filter(
        station=station, state=PlanState.ACCEPTED, day__gte=period.first, day__lt=period.after
    )
    riders: Counter[str] = Counter()
    days: defaultdict[str, set[date]] = defaultdict(set)
    planned = 0
    for day, unserved in plans.values_list("day", "result__unserved"):
        planned += 1
        for each in unserved or ():
            why = _why(each["reason"])
            riders[why] += 1
            days[why].add(day)
    return tuple(Short(why, count, len(days[why])) for why, count in riders.most_common()), planned


def _why(reason: Mapping[str, Any]) -> str:
    """Return what was short, or the rule that left a rider out."""
    lacking = [each["name"] for each in reason["inputs"] if each["unit"] == "more"]
    return f"no {listed(lacking)} left" if lacking else str(reason["rule"])
