"""The life of the kit by the station's own records."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import Final

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce

from rentals.bench.models import Job, WearPosting
from rentals.bookings.models import Outing
from rentals.fleet.models import Item, ItemModel
from rentals.lib.access import Act, Actor
from rentals.lib.problems import NotVisible
from rentals.review.mapping.life import ItemRecord, ModelLife, lives
from rentals.review.models import FaultAge, ModelCost
from rentals.stations.models import Station

YEAR: Final = timedelta(days=365)
HOUR_S: Final = 3600
BY_SIZE: Final = (
    "model__kind",
    "model__area_m2",
    "model__volume_l",
    "model__length_cm",
    "model__name",
    "tag",
)


def kit_lives(actor: Actor, station: Station, *, now: datetime, kind: str = "") -> tuple[ModelLife, ...]:
    """Return the life of each model of a station, by kind and size: six queries, however many records.

    Args:
        actor: who asks.
        station: where.
        now: the moment.
        kind: only models of that kind.

    Raises:
        NotVisible, NotAllowed: no role here, or none that covers it.
    """
    actor.require(Act.SEE_LIFE, station_id=station.pk)
    items = Item.objects.filter(station=station).select_related("model").order_by(*BY_SIZE)
    if kind:
        items = items.filter(model__kind=kind)
    costs = {
        cost.model_id: cost for cost in ModelCost.objects.filter(station=station).select_related("station")
    }
    return lives(_records(station, items, now), costs)


def kit_life(actor: Actor, station: Station, model_id: int, *, now: datetime) -> ModelLife:
    """Return the life of one model, among those of its kind: seven queries.

    Raises:
        NotVisible, NotAllowed: no item of that model here; no role here, or none that covers it.
    """
    actor.require(Act.SEE_LIFE, station_id=station.pk)
    model = ItemModel.objects.filter(pk=model_id).first()
    found = kit_lives(actor, station, now=now, kind=model.kind) if model else ()
    for each in found:
        if each.model == model:
            return each
    raise NotVisible("There is no such model in this shed.")


def not_noted() -> Q:
    """What is true of a job whose age is not noted yet."""
    return Q(~Exists(FaultAge.objects.filter(job=OuterRef("pk"))))


def ages(jobs: QuerySet[Job]) -> Iterable[tuple[int, int, int]]:
    """Return job, item and the seconds posted for the item until the fault was found: one query."""
    until = WearPosting.objects.filter(
        item=OuterRef("item"), outing__ashore_at__lte=OuterRef("opened_at")
    ).order_by()
    summed = until.values("item").annotate(total=Sum("water_s")).values("total")
    summed_until = Coalesce(Subquery(summed), Value(0))
    return jobs.annotate(posted_s=summed_until).values_list("id", "item_id", "posted_s")


def _records(station: Station, items: QuerySet[Item], now: datetime) -> list[ItemRecord]:
    outings = Outing.objects.filter(station=station)
    total = _posted(outings)
    year = _posted(outings.filter(starts_at__gt=now - YEAR))
    faults = _faults(items)
    return [_record(item, total.get(item.pk, 0), year.get(item.pk, 0), faults[item.pk]) for item in items]


def _posted(outings: QuerySet[Outing]) -> dict[int, int]:
    """Seconds posted by item. Found by outing: by item, SQLite would fetch every row from another place."""
    rows = WearPosting.objects.filter(outing__in=outings).values_list("item_id")
    return dict(rows.annotate(total=Sum("water_s")))


def _faults(items: QuerySet[Item]) -> Mapping[int, list[int]]:
    """Seconds posted at each fault: most are noted, the newest are summed here."""
    jobs = Job.objects.filter(item__in=items.order_by())
    noted = FaultAge.objects.filter(job__in=jobs).values_list("job_id", "job__item_id", "posted_s")
    faults: defaultdict[int, list[int]] = defaultdict(list)
    for _job, item_id, seconds in (*noted, *ages(jobs.filter(not_noted()))):
        faults[item_id].append(seconds)
    return faults


def _record(item: Item, posted: int, year: int, faults: Sequence[int]) -> ItemRecord:
    # Hours from before the postings began: the item was watched only from that age on.
    first = max(item.water_s - posted, 0)
    return ItemRecord(
        item=item,
        first_h=first / HOUR_S,
        hours=(first + posted) / HOUR_S,
        year_h=year / HOUR_S,
        faults_h=tuple((first + seconds) / HOUR_S for seconds in sorted(faults)),
    )
