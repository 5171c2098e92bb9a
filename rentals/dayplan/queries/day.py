"""A station's day gathered for its plan, and what would change the answer to a party that asks."""

from collections import defaultdict
from datetime import date, datetime
from hashlib import sha256

from rentals.bookings.models import KitPart, Outing
from rentals.bookings.states import DROPPED
from rentals.dayplan.mapping.day import USUAL_CREW, DayRows
from rentals.dayplan.models import Crew
from rentals.fleet.models import Hold, Item, Kind, Rig
from rentals.lessons import queries as lessons
from rentals.lib.when import day_bounds
from rentals.stations import queries as stations
from rentals.stations.models import Station
from rentals.weather import queries as weather


def day_rows(station: Station, day: date, *, now: datetime) -> DayRows:
    """Return what the rows say of a station's day: nine queries, however many outings."""
    start, end = day_bounds(day, station.zone)
    outings = tuple(
        Outing.objects.filter(station=station)
        .between(start, end)
        .exclude(state__in=DROPPED)
        .with_faces()
        .select_related("station")
    )
    kit: defaultdict[int, dict[Kind, KitPart]] = defaultdict(dict)
    for part in KitPart.objects.filter(outing__in=outings).in_force().with_items():
        kit[part.outing_id][Kind(part.part)] = part
    holds = Hold.objects.overlapping(start, end).filter(item__station=station)
    rigs = Rig.objects.filter(station=station, derigged_at=None).order_by("id")
    items = Item.objects.filter(station=station).fit_to_give().select_related("model")
    return DayRows(
        station=station,
        day=day,
        now=now,
        outings=outings,
        kit=dict(kit),
        items=tuple(items.order_by("model_id", "water_s", "tag")),
        holds=tuple(holds.order_by("starts_at", "id")),
        rigs=tuple(rigs.select_related("sail", "mast", "extension", "boom", "base")),
        hours=weather.hours_between(station, start, end),
        policy=stations.policy_of(station),
        crew=crew_of(station),
        lessons=lessons.groups_of(outings),
    )


def crew_of(station: Station) -> Crew:
    """Return who builds rigs at a station, as set or as usual: one query."""
    return Crew.objects.filter(station=station).first() or USUAL_CREW


def day_stamp(station: Station, day: date) -> str:
    """Return a mark of who is booked on a day and when; it differs when a booking came or went: one query."""
    start, end = day_bounds(day, station.zone)
    booked = Outing.objects.filter(station=station).between(start, end).exclude(state__in=DROPPED)
    rows = booked.order_by("pk").values_list("pk", "starts_at", "ends_at")
    text = ";".join(f"{pk}:{starts.timestamp()}:{ends.timestamp()}" for pk, starts, ends in rows)
    return sha256(text.encode()).hexdigest()
