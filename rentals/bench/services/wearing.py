"""Posting wear by itself: water time weighed by wind from closed outings, rig-ups and sun from rigs."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime, timedelta

from django.db.models import Exists, F, Max, OuterRef, Q, QuerySet

from rentals.audit import services as journal
from rentals.bench.models import MOST_WATER_S, Meter, RigWear, WearPosting
from rentals.bookings.models import KitPart, Outing
from rentals.bookings.states import OutingState
from rentals.fleet.models import RIG_PARTS, Item, Rig
from rentals.lib.access import Actor, System
from rentals.lib.when import day_bounds
from rentals.lib.writes import inside_write, write
from rentals.weather import queries as weather
from rigging import wear, wind
from rigging.units import BadValue

LONGEST_SLICE = timedelta(days=300)
"""A rig forgotten for longer is posted in slices of this."""


@write
def post_wear(*, actor: Actor, now: datetime, most: int = 200) -> int:
    """Post the water time of closed outings that are not posted yet; return how many outings were.

    Safe to run twice and at once: the pair of outing and item is unique, and an item's hours rise only by
    the rows this run wrote.
    """
    actor.require_system(System.POST_WEAR)
    posted = WearPosting.objects.filter(outing=OuterRef("pk"))
    due = (
        Outing.objects.filter(state=OutingState.CLOSED, launched_at__isnull=False)
        .filter(~Exists(posted))
        .select_related("station")
        .select_for_update(of=("self",), skip_locked=True)
        .order_by("closed_at", "id")[:most]
    )
    outings = {outing.pk: outing for outing in due}
    winds = _winds(outings.values())
    parts = KitPart.objects.filter(outing__in=outings, issued_at__isnull=False).order_by("item_id")
    rows = [posting(part.item_id, outings[part.outing_id], winds[part.outing_id], now) for part in parts]
    WearPosting.objects.bulk_create(rows)
    for row in rows:
        Item.objects.filter(pk=row.item_id).update(water_s=F("water_s") + row.water_s)
    _count(rows=rows)
    _tell_wear(actor, outings, rows, now)
    return len(outings)


@write
def post_rig_wear(*, actor: Actor, now: datetime, most: int = 200) -> int:
    """Post rig-ups and sun of rigs taken apart, and of those that stand for the days that are over.

    Returns how many rigs were posted. Safe to run twice: a span of a rig and item is unique.
    """
    actor.require_system(System.POST_WEAR)
    due = list(_rigs_due(now, most))
    rows = [row for rig, posted, until in due for row in rig_wear(rig, posted, until, now)]
    RigWear.objects.bulk_create(rows)
    _count(sun=rows)
    by_station: defaultdict[int, list[journal.Line]] = defaultdict(list)
    for row in rows:
        text = f"{row.sun_s // 60} min rigged in daylight"
        by_station[row.rig.station_id].append(journal.Line("item", row.item_id, text, {"rig": row.rig_id}))
    for station_id, lines in by_station.items():
        journal.record(actor=actor, act=System.POST_WEAR, station_id=station_id, lines=lines, now=now)
    return len({row.rig_id for row in rows})


def posting(item_id: int, outing: Outing, wind_ms: float | None, now: datetime) -> WearPosting:
    """Return the wear row of an item on an outing, not yet written."""
    seconds = water_s(outing)
    return WearPosting(
        item_id=item_id,
        outing_id=outing.pk,
        water_s=seconds,
        weighted_s=round(seconds * wear.wind_weight(wind_ms).value),
        wind_ms=wind_ms,
        salt=outing.station.salt_water,
        posted_at=now,
    )


def rig_wear(rig: Rig, posted_to: datetime | None, until: datetime, now: datetime) -> list[RigWear]:
    """Return the wear rows of a rig's parts from where the last ones ended, not yet written."""
    start = posted_to or rig.built_at
    station = rig.station
    light = wear.sun_slices(start, until, station.latitude_deg, station.longitude_deg, station.zone)
    return [
        RigWear(
            item_id=getattr(rig, f"{part.value}_id"),
            rig=rig,
            starts_at=start,
            ends_at=until,
            sun_s=round(sum(each.seconds for each in light)),
            rig_ups=int(posted_to is None),
            posted_at=now,
        )
        for part in RIG_PARTS
    ]


def water_s(outing: Outing) -> int:
    """Seconds that an outing was on the water; one that nobody noted ashore for days counts as two."""
    if outing.launched_at is None or outing.ashore_at is None:
        return 0
    return min(round((outing.ashore_at - outing.launched_at).total_seconds()), MOST_WATER_S)


@inside_write
def add_to_meters(*, items: Iterable[int], gathered: Mapping[str, Mapping[int, int]]) -> None:
    """Add to what items have gathered, by the meter's column and the item's id."""
    ids = sorted(set(items))
    Meter.objects.bulk_create((Meter(item_id=pk) for pk in ids), ignore_conflicts=True)
    for pk in ids:
        more = {column: F(column) + of.get(pk, 0) for column, of in gathered.items()}
        Meter.objects.filter(pk=pk).update(**more)


@inside_write
def _count(*, rows: Sequence[WearPosting] = (), sun: Sequence[RigWear] = ()) -> None:
    gathered: dict[str, defaultdict[int, int]] = {
        name: defaultdict(int) for name in ("weighted_s", "salt_s", "sun_s")
    }
    for row in rows:
        gathered["weighted_s"][row.item_id] += row.weighted_s or 0
        gathered["salt_s"][row.item_id] += row.water_s if row.salt else 0
    for lain in sun:
        gathered["sun_s"][lain.item_id] += lain.sun_s
    items = [row.item_id for row in rows] + [lain.item_id for lain in sun]
    add_to_meters(items=items, gathered=gathered)


def _winds(outings: Iterable[Outing]) -> dict[int, float | None]:
    """The mean wind at 10 m of each outing where it is known: two queries a station and day."""
    days: defaultdict[tuple[int, object], list[Outing]] = defaultdict(list)
    for outing in outings:
        days[outing.station_id, outing.station.local(outing.starts_at).date()].append(outing)
    found: dict[int, float | None] = {}
    for group in days.values():
        station = group[0].station
        start, _ = day_bounds(station.local(group[0].starts_at).date(), station.zone)
        hours = weather.wind_over(station, start, max(_back(outing) for outing in group))
        found |= {outing.pk: _mean_ms(hours, outing) for outing in group}
    return found


def _back(outing: Outing) -> datetime:
    return outing.ashore_at or outing.ends_at


def _mean_ms(hours: Sequence[wind.Hour], outing: Outing) -> float | None:
    try:
        return wind.slot_wind(hours, outing.launched_at or outing.starts_at, _back(outing)).mean_ms
    except BadValue:
        # No hour speaks of it, or it lasted for days: its hours count as they are.
        return None


@inside_write
def _rigs_due(now: datetime, most: int) -> Iterator[tuple[Rig, datetime | None, datetime]]:
    """Rigs with time that is not posted: how far they are, and the moment up to which they can be."""
    rigs = list(_unposted(now)[:most])
    spans = RigWear.objects.filter(rig__in=rigs).values_list("rig")
    posted: dict[int, datetime] = dict(spans.annotate(Max("ends_at")))
    for rig in rigs:
        midnight, _ = day_bounds(rig.station.local(now).date(), rig.station.zone)
        start = posted.get(rig.pk, rig.built_at)
        until = min(rig.derigged_at or midnight, start + LONGEST_SLICE)
        if rig.derigged_at is not None or until > start:
            yield rig, posted.get(rig.pk), until


def _unposted(now: datetime) -> QuerySet[Rig]:
    spans = RigWear.objects.filter(rig=OuterRef("pk"))
    apart = Q(derigged_at__isnull=False) & ~Exists(spans.filter(ends_at__gte=OuterRef("derigged_at")))
    standing = Q(derigged_at=None) & ~Exists(spans.filter(ends_at__gt=now - timedelta(hours=24)))
    rigs = Rig.objects.filter(apart | standing).select_related("station").order_by("built_at", "id")
    return rigs.select_for_update(of=("self",), skip_locked=True)


def _tell_wear(
    actor: Actor, outings: Mapping[int, Outing], rows: Sequence[WearPosting], now: datetime
) -> None:
    for station_id in {outing.station_id for outing in outings.values()}:
        lines = [
            journal.Line(
                "item", row.item_id, f"{row.water_s // 60} min on the water", {"outing": row.outing_id}
            )
            for row in rows
            if outings[row.outing_id].station_id == station_id
        ]
        journal.record(actor=actor, act=System.POST_WEAR, station_id=station_id, lines=lines, now=now)
