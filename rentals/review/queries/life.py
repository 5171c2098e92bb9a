"""The life of the kit by the station's own records."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from rentals.bench.models import Job, WearPosting
from rentals.bookings.models import Outing
from rentals.fleet.models import Item
from rentals.lib.access import Act, Actor
from rentals.lib.problems import NotVisible
from rentals.review.mapping.life import ItemRecord, ModelLife, lives
from rentals.review.models import ModelCost
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

Whole = NDArray[np.int64]


def kit_lives(actor: Actor, station: Station, *, now: datetime) -> tuple[ModelLife, ...]:
    """Return the life of each model of a station, by kind and size: five queries, however many records.

    Raises:
        NotVisible, NotAllowed: no role here, or none that covers it.
    """
    actor.require(Act.SEE_LIFE, station_id=station.pk)
    items = list(Item.objects.filter(station=station).select_related("model").order_by(*BY_SIZE))
    if not items:
        return ()
    costs = {cost.model_id: cost for cost in ModelCost.objects.filter(station=station)}
    return lives(_records(station, items, now), costs)


def kit_life(actor: Actor, station: Station, model_id: int, *, now: datetime) -> ModelLife:
    """Return the life of one model, among those of its kind: five queries.

    Raises:
        NotVisible: no item of that model here.
    """
    found = next((each for each in kit_lives(actor, station, now=now) if each.model.pk == model_id), None)
    if found is None:
        raise NotVisible("There is no such model in this shed.")
    return found


def _records(station: Station, items: Sequence[Item], now: datetime) -> list[ItemRecord]:
    """Ages come from plain numbers: years of postings are read in one piece and summed in arrays."""
    ashore = Outing.objects.filter(station=station, ashore_at__isnull=False).values_list("id", "ashore_at")
    ended = {outing: int(moment.timestamp()) for outing, moment in ashore if moment}
    rows = WearPosting.objects.filter(item__station=station).values_list("item_id", "outing_id", "water_s")
    posted = [(item, ended[outing], seconds) for item, outing, seconds in rows.iterator() if outing in ended]
    uses = _Uses(np.array(posted, dtype=np.int64).reshape(-1, 3))
    faults: defaultdict[int, list[float]] = defaultdict(list)
    jobs = Job.objects.filter(item__station=station).order_by("opened_at", "id")
    for item_id, opened_at in jobs.values_list("item_id", "opened_at"):
        faults[item_id].append(uses.seconds(item_id, opened_at) / HOUR_S)
    return [_record(item, uses, faults[item.pk], now) for item in items]


def _record(item: Item, uses: "_Uses", faults: Sequence[float], now: datetime) -> ItemRecord:
    posted = uses.seconds(item.pk, None)
    # Hours from before the postings began: the item was watched only from that age on.
    first = max(item.water_s - posted, 0) / HOUR_S
    return ItemRecord(
        item=item,
        first_h=first,
        hours=first + posted / HOUR_S,
        year_h=(posted - uses.seconds(item.pk, now - YEAR)) / HOUR_S,
        faults_h=tuple(first + hours for hours in faults),
    )


class _Uses:
    """Running hours of every item: rows (n, 3) of item, moment [s] and seconds on the water."""

    def __init__(self, rows: Whole) -> None:
        order = np.lexsort((rows[:, 1], rows[:, 0]))
        self.items, self.moments = rows[order, 0], rows[order, 1]
        self.run: Whole = np.concatenate([[0], np.cumsum(rows[order, 2])])

    def seconds(self, item_id: int, until: datetime | None) -> int:
        """Seconds that an item was on the water by a moment, or ever."""
        first, last = (int(np.searchsorted(self.items, item_id, side)) for side in ("left", "right"))
        if until is not None:
            last = first + int(np.searchsorted(self.moments[first:last], int(until.timestamp()), "right"))
        return int(self.run[last] - self.run[first])
