"""The shed as a list, an item with its life and inspections, the bench's jobs, and what is still out."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import Count, F, Max, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from rentals.audit.models import Entry
from rentals.bench.mapping import Due, Worn, dues, to_core
from rentals.bench.models import (
    Inspection,
    Interval,
    Job,
    JobLine,
    KitRecall,
    Meter,
    Photo,
    Setting,
    WearPosting,
)
from rentals.bench.states import GRACE_DAYS, UNFINISHED
from rentals.bookings.models import KitPart, Outing
from rentals.fleet.formats import shed as sheets
from rentals.fleet.models import Cause, Hold, HoldBack, Item, ItemModel, Kind
from rentals.fleet.states import ItemState
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.lib.when import day_bounds
from rentals.stations.models import Station
from rigging import wear

MOST_LISTED = 300
LAST_ENTRIES = 60


@dataclass(frozen=True, slots=True)
class ItemLife:
    """An item with everything its page shows."""

    worn: Worn
    dues: tuple[Due, ...]
    inspections: tuple[Inspection, ...]
    held: tuple[HoldBack, ...]
    jobs: tuple[Job, ...]
    entries: tuple[Entry, ...]
    uses: tuple[KitPart, ...]
    spec: tuple[tuple[str, str], ...]

    @property
    def item(self) -> Item:
        """The item itself."""
        return self.worn.item

    @property
    def outings(self) -> int:
        """Outings that put wear on it."""
        return self.worn.outings

    def due(self, name: str) -> Due:
        """Its inspection of that name.

        Raises:
            NotVisible: its kind has none of that name.
        """
        found = next((each for each in self.dues if each.name == name), None)
        if found is None:
            raise NotVisible(f"{self.item.tag} has no inspection of that name.")
        return found

    def age_days(self, today: date) -> int | None:
        """Days since it was bought, where that is known."""
        return None if self.item.bought_on is None else (today - self.item.bought_on).days


def items_at(station: Station, *, kind: str = "", state: str = "", part: str = "") -> list[Item]:
    """Return items of a station's shed, sails by area and spars by length: one query."""
    items = Item.objects.filter(station=station).select_related("model")
    if kind in Kind.values:
        items = items.filter(model__kind=kind)
    if state:
        items = items.filter(state=state)
    for word in part.split():
        items = items.filter(Q(tag__icontains=word) | Q(model__name__icontains=word))
    return list(
        items.order_by("model__kind", "model__area_m2", "model__length_cm", "model__name", "tag")[
            :MOST_LISTED
        ]
    )


def item_life(actor: Actor, station: Station, tag: str, *, today: date) -> ItemLife:
    """Return an item with its wear, inspections, jobs, journal and outings: seven queries.

    Raises:
        NotVisible: no item of that tag there.
    """
    found = worn_items(Item.objects.visible_to(actor).filter(station=station, tag__iexact=tag))
    if not found:
        raise NotVisible(f"There is no item {tag} here.")
    worn, grace_days = found[0]
    item = worn.item
    records = tuple(Inspection.objects.filter(item=item).select_related("by").order_by("-at", "-id"))
    last = {record.name: record for record in reversed(records) if record.passed}
    return ItemLife(
        worn=worn,
        dues=dues(worn, Interval.objects.filter(station=station), last, today, grace_days),
        inspections=records,
        held=tuple(
            HoldBack.objects.standing().filter(item=item).select_related("by").order_by("since", "id")
        ),
        jobs=tuple(Job.objects.filter(item=item).select_related("mended_by", "item__model").order_by("-id")),
        entries=tuple(Entry.objects.about("item", item.pk)[:LAST_ENTRIES]),
        uses=tuple(_uses(item)),
        spec=tuple(_spec(item)),
    )


def worn_items(items: QuerySet[Item]) -> list[tuple[Worn, float]]:
    """Return items with what they gathered, and their station's days of grace: one query."""
    meter = Meter.objects.filter(item=OuterRef("pk"))
    outings = WearPosting.objects.filter(item=OuterRef("pk")).order_by().values("item")
    grace = Setting.objects.filter(station=OuterRef("station")).values("grace_days")
    found = items.select_related("model").annotate(
        weighted_s=Coalesce(Subquery(meter.values("weighted_s")), 0),
        salt_s=Coalesce(Subquery(meter.values("salt_s")), 0),
        sun_s=Coalesce(Subquery(meter.values("sun_s")), 0),
        outings=Coalesce(Subquery(outings.annotate(count=Count("id")).values("count")), 0),
        grace_days=Coalesce(Subquery(grace), GRACE_DAYS),
    )
    return [
        (
            Worn(
                item=item,
                weighted_s=item.weighted_s,
                salt_s=item.salt_s,
                sun_s=item.sun_s,
                outings=item.outings,
            ),
            item.grace_days,
        )
        for item in found
    ]


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


def models_at(station: Station) -> list[ItemModel]:
    """Return the models of which a station has items: one query."""
    here = Item.objects.filter(station=station).values("model")
    return list(ItemModel.objects.filter(pk__in=here).order_by("kind", "name"))


def settled(station: Station) -> dict[str, object]:
    """Return what a station has settled about its bench, as a form shows it: one query."""
    setting = setting_of(station)
    return {
        "grace_days": setting.grace_days,
        "released_by": setting.released_by,
        "currency": setting.currency,
    }


def setting_of(station: Station) -> Setting:
    """Return what a station has settled about its bench, or the defaults: one query."""
    return Setting.objects.filter(station=station).first() or Setting(station=station)


def _uses(item: Item) -> QuerySet[KitPart]:
    """Return who has an item and who is promised it, in that order."""
    uses = KitPart.objects.filter(item=item, returned_at=None, hold__live=True).in_force()
    return uses.select_related("outing__rider").order_by("outing__starts_at", "id")[:10]


@dataclass(frozen=True, slots=True)
class BenchJob:
    """A job with its lines and photos, and by when its item is promised or planned."""

    job: Job
    lines: tuple[JobLine, ...]
    photos: tuple[Photo, ...]
    needed_at: datetime | None = None

    @property
    def minutes(self) -> int:
        """Minutes of work, by its lines and what mended it."""
        return sum(line.minutes or 0 for line in self.lines) + (self.job.minutes or 0)

    @property
    def costs(self) -> tuple[tuple[Decimal, str], ...]:
        """Its costs by currency."""
        sums: defaultdict[str, Decimal] = defaultdict(Decimal)
        for line in self.lines:
            if line.cost is not None:
                sums[line.currency] += line.cost
        return tuple((cost, currency) for currency, cost in sums.items())

    @property
    def workshop(self) -> JobLine | None:
        """The outside workshop that has it last."""
        return next((line for line in reversed(self.lines) if line.kind == JobLine.Kind.WORKSHOP), None)


def jobs_at(station: Station, *, now: datetime) -> list[BenchJob]:
    """Return the bench's unfinished jobs: three queries.

    What blocks the rest of today or tomorrow comes first, the earliest first; then the oldest.
    """
    tomorrow = station.local(now).date() + timedelta(days=1)
    _, horizon = day_bounds(tomorrow, station.zone)
    holds = Hold.objects.filter(item=OuterRef("item"), live=True, ends_at__gt=now, starts_at__lt=horizon)
    found = (
        Job.objects.filter(item__station=station, state__in=UNFINISHED)
        .annotate(needed_at=Subquery(holds.order_by("starts_at").values("starts_at")[:1]))
        .select_related("item__model", "opened_by", "mended_by")
        .order_by(F("needed_at").asc(nulls_last=True), "opened_at", "id")
    )
    jobs = _with_lines(found)
    needed = {job.pk: job.needed_at for job in found}
    return [replace(each, needed_at=needed[each.job.pk]) for each in jobs]


def job_for(actor: Actor, station: Station, job_id: int) -> BenchJob:
    """Return a job of a station's bench, finished or not: three queries.

    Raises:
        NotVisible: there is none there for this actor.
    """
    if station.pk not in actor.station_ids:
        raise NotVisible("There is no such bench job here.")
    jobs = Job.objects.filter(item__station=station, pk=job_id)
    found = _with_lines(jobs.select_related("item__model", "opened_by", "mended_by", "finished_by"))
    if not found:
        raise NotVisible("There is no such bench job here.")
    return found[0]


def photo_for(actor: Actor, station: Station, photo_id: int) -> Photo:
    """Return a photo of a station's bench: one query.

    Raises:
        NotVisible: there is none there for this actor.
    """
    photos = Photo.objects.filter(job__item__station=station, job__item__station_id__in=actor.station_ids)
    photo = photos.filter(pk=photo_id).first()
    if photo is None:
        raise NotVisible("There is no such photo here.")
    return photo


def _with_lines(jobs: QuerySet[Job]) -> list[BenchJob]:
    """Jobs with their lines and photos, the pictures themselves left where they are: three queries."""
    rows = list(jobs)
    lines, photos = defaultdict(list), defaultdict(list)
    for line in JobLine.objects.filter(job__in=rows).select_related("by").order_by("at", "id"):
        lines[line.job_id].append(line)
    for photo in Photo.objects.filter(job__in=rows).defer("content").order_by("id"):
        photos[photo.job_id].append(photo)
    return [BenchJob(job, tuple(lines[job.pk]), tuple(photos[job.pk])) for job in rows]


def still_out(outing: Outing) -> list[KitPart]:
    """Return the items of an outing that are with the rider: one query."""
    return list(KitPart.objects.filter(outing=outing).with_rider().with_items())


_TRADE_WORDS = {
    "takes_rdm": "takes RDM",
    "takes_sdm": "takes SDM",
    "imcs": "stiffness (IMCS)",
    "fin_box": "fin box",
}
_UNITS = {"m2": "m²", "cm": "cm", "l": "l", "n": "N", "mm": "mm"}
_SPEC_SKIPS = ("id", "kind", "name")


def _spec(item: Item) -> list[tuple[str, str]]:
    """Return the model's numbers in words, those its kind does not have left out."""
    rows = []
    for field in item.model._meta.concrete_fields:
        value = getattr(item.model, field.name)
        if field.name in _SPEC_SKIPS or value is None:
            continue
        stem, _, unit = field.name.rpartition("_")
        shown = {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else value
        number = f"{value:g}" if isinstance(value, float) else str(shown).replace("_", " ")
        if unit in _UNITS:
            rows.append((stem.replace("_", " "), f"{number} {_UNITS[unit]}"))
        else:
            rows.append((_TRADE_WORDS.get(field.name, field.name.replace("_", " ")), number))
    return rows


@dataclass(frozen=True, slots=True)
class CalledItem:
    """An item that a recall holds or held, and with whom it is."""

    item: Item
    held: HoldBack
    rider: KitPart | None


@dataclass(frozen=True, slots=True)
class Recalled:
    """A recall with its items, those with riders first."""

    recall: KitRecall
    items: tuple[CalledItem, ...]

    @property
    def out(self) -> tuple[CalledItem, ...]:
        """Items that riders have with them."""
        return tuple(each for each in self.items if each.rider is not None)


def recalls_at(station: Station) -> list[KitRecall]:
    """Return a station's recalls, the newest first: one query."""
    return list(KitRecall.objects.filter(station=station).select_related("model").order_by("-at", "-id"))


def recall_for(actor: Actor, station: Station, recall_id: int) -> Recalled:
    """Return a recall with its items and who has them: three queries.

    Raises:
        NotVisible: there is none there for this actor.
    """
    recalls = KitRecall.objects.filter(station=station, station_id__in=actor.station_ids, pk=recall_id)
    recall = recalls.select_related("model", "by", "ended_by").first()
    if recall is None:
        raise NotVisible("There is no such recall here.")
    held = HoldBack.objects.filter(cause=Cause.RECALL, subject=recall.subject, item__station=station)
    rows = list(held.select_related("item__model").order_by("item__tag"))
    out = KitPart.objects.filter(item__in=[row.item_id for row in rows]).with_rider()
    riders = {part.item_id: part for part in out.select_related("outing__rider")}
    items = [CalledItem(row.item, row, riders.get(row.item_id)) for row in rows]
    return Recalled(recall, tuple(sorted(items, key=lambda each: each.rider is None)))


def recall_csv(recalled: Recalled) -> str:
    """Return a recall's items as CSV for the maker: no query."""
    columns = ("tag", "model", "serial", "batch", "made_on", "bought_on", "water_h", "rig_ups", "state")
    return sheets.written(
        columns,
        (
            (
                item.tag,
                item.model.name,
                item.serial,
                item.batch,
                item.made_on,
                item.bought_on,
                f"{item.water_s / 3600:.1f}",
                item.rig_ups,
                item.state.replace("_", " "),
            )
            for item in sorted((each.item for each in recalled.items), key=lambda item: item.tag)
        ),
    )
