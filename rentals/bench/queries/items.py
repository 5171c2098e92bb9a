"""Items of the shed: the list, one with its whole life, and what each has gathered."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from rentals.audit.models import Entry
from rentals.bench.mapping import Due, Worn, dues
from rentals.bench.models import (
    Inspection,
    Interval,
    Job,
    Meter,
    Setting,
    WearPosting,
)
from rentals.bench.states import GRACE_DAYS
from rentals.bookings.models import KitPart, Outing
from rentals.checklists import queries as checklists
from rentals.checklists.models import Check
from rentals.checklists.queries import InForce
from rentals.fleet.models import HoldBack, Item, ItemModel, Kind
from rentals.fleet.states import ItemState
from rentals.lib.access import Act, Actor
from rentals.lib.problems import NotVisible
from rentals.stations.models import Station

MOST_LISTED = 300
LAST_ENTRIES = 60
TELLING = (Act.REPORT_INCIDENT, Act.FOLLOW_INCIDENT)
"""Acts that name the items of an incident, in the journal of each."""


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


def to_label(station: Station) -> list[Item]:
    """Return the items of a shed that carry a label, by kind and tag, withdrawn ones left out: one query."""
    items = Item.objects.filter(station=station).exclude(state=ItemState.WITHDRAWN).select_related("model")
    return sorted(items, key=lambda item: (item.model.kind, len(item.tag), item.tag))


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
        entries=tuple(_entries(item)),
        uses=tuple(_uses(item)),
        spec=tuple(_spec(item)),
    )


def models_at(station: Station) -> list[ItemModel]:
    """Return the models of which a station has items: one query."""
    here = Item.objects.filter(station=station).values("model")
    return list(ItemModel.objects.filter(pk__in=here).order_by("kind", "name"))


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
class ReturnSheet:
    """What is still with the rider, and the station's own list of what to look at when it comes back."""

    out: tuple[KitPart, ...]
    listed: InForce
    level: str

    @property
    def of_rider(self) -> tuple[str, ...]:
        """What to see to about the rider."""
        return self.look_at("rider")

    def look_at(self, kind: str) -> tuple[str, ...]:
        """Return what to look at on one kind of item."""
        return self.listed.about(kind, self.level)


def return_sheet(outing: Outing) -> ReturnSheet:
    """Return the sheet of a return check: two queries."""
    listed = checklists.in_force(outing.station, Check.RETURN)
    return ReturnSheet(tuple(still_out(outing)), listed, outing.rider.level)


def still_out(outing: Outing) -> list[KitPart]:
    """Return the items of an outing that are with the rider: one query."""
    return list(KitPart.objects.filter(outing=outing).with_rider().with_items())


def _entries(item: Item) -> QuerySet[Entry]:
    """Return the newest lines of an item's journal, and those of incidents however old."""
    about = Entry.objects.about("item", item.pk)
    return about.filter(Q(act__in=TELLING) | Q(pk__in=about.values("pk")[:LAST_ENTRIES]))


def _uses(item: Item) -> QuerySet[KitPart]:
    """Return who has an item and who is promised it, in that order."""
    uses = KitPart.objects.filter(item=item, returned_at=None, hold__live=True).in_force()
    return uses.select_related("outing__rider").order_by("outing__starts_at", "id")[:10]


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
