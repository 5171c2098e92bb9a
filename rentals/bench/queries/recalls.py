"""Recalls of kit: what each holds back, who has it, and the list for the maker."""

from dataclasses import dataclass

from rentals.bench.models import (
    KitRecall,
)
from rentals.bookings.models import KitPart
from rentals.fleet.models import Cause, HoldBack, Item
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.lib.tables import csv_text
from rentals.stations.models import Station


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
    return csv_text(
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
