"""The shed as a list, an item with its life, the bench's jobs, and what is still out."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Q, QuerySet

from rentals.audit.models import Entry
from rentals.bench.models import Job, WearPosting
from rentals.bench.states import UNFINISHED
from rentals.bookings.models import KitPart, Outing
from rentals.fleet.models import Item, Kind
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.stations.models import Station

MOST_LISTED = 300
LAST_ENTRIES = 60


@dataclass(frozen=True, slots=True)
class ItemLife:
    """An item with everything its page shows."""

    item: Item
    jobs: tuple[Job, ...]
    entries: tuple[Entry, ...]
    outings: int
    uses: tuple[KitPart, ...]
    spec: tuple[tuple[str, str], ...]

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


def item_life(actor: Actor, station: Station, tag: str) -> ItemLife:
    """Return an item with its jobs, journal and outings: five queries.

    Raises:
        NotVisible: no item of that tag there.
    """
    item = (
        Item.objects.visible_to(actor)
        .filter(station=station, tag__iexact=tag)
        .select_related("model")
        .first()
    )
    if item is None:
        raise NotVisible(f"There is no item {tag} here.")
    return ItemLife(
        item=item,
        jobs=tuple(Job.objects.filter(item=item).select_related("mended_by", "item__model").order_by("-id")),
        entries=tuple(Entry.objects.about("item", item.pk)[:LAST_ENTRIES]),
        outings=WearPosting.objects.filter(item=item).count(),
        uses=tuple(_uses(item)),
        spec=tuple(_spec(item)),
    )


def _uses(item: Item) -> QuerySet[KitPart]:
    """Return who has an item and who is promised it, in that order."""
    uses = KitPart.objects.filter(item=item, returned_at=None, hold__live=True).in_force()
    return uses.select_related("outing__rider").order_by("outing__starts_at", "id")[:10]


def jobs_at(station: Station) -> list[Job]:
    """Return the bench's unfinished jobs, oldest first: one query."""
    jobs = Job.objects.filter(item__station=station, state__in=UNFINISHED)
    return list(jobs.select_related("item__model", "opened_by", "mended_by").order_by("opened_at", "id"))


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
