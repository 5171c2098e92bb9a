"""Incidents as they stand now, with what was told before, and the list of them without names."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models.functions import Upper

from rentals.afloat import queries as afloat
from rentals.bookings.models import KitPart, Outing
from rentals.fleet.models import Item
from rentals.incidents.mapping import age_band, weather_at
from rentals.incidents.models import FollowUp, Incident, IncidentItem, Kind, Telling
from rentals.incidents.states import is_shut
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.stations.models import Station
from rentals.weather import queries as weather
from rigging import units

MOST_LISTED = 200


@dataclass(frozen=True, slots=True)
class Listed:
    """An incident as a list shows it: the telling in force, and whether it is closed."""

    incident: Incident
    telling: Telling
    closed: bool


@dataclass(frozen=True, slots=True)
class Whole:
    """One incident with every telling, every item and everything done since."""

    incident: Incident
    tellings: tuple[Telling, ...]
    items: tuple[IncidentItem, ...]
    follow_ups: tuple[FollowUp, ...]

    @property
    def now(self) -> Telling:
        """The telling in force."""
        return self.tellings[-1]

    @property
    def before(self) -> tuple[Telling, ...]:
        """Tellings that were corrected, newest first."""
        return self.tellings[-2::-1]

    @property
    def involved(self) -> list[Item]:
        """The items themselves."""
        return [each.item for each in self.items]

    @property
    def turns(self) -> int:
        """How often it was closed or opened again."""
        return sum(each.turn is not None for each in self.follow_ups)

    @property
    def closed(self) -> bool:
        """Whether a manager has closed it."""
        return is_shut(self.turns)


@dataclass(frozen=True, slots=True)
class Nameless:
    """An incident as it may be passed on: no name, no free words, no exact time."""

    month: str
    hour: int
    kind: str
    severity: str
    cause: str
    level: str
    age: str
    booking: str
    item_kinds: str
    wind_kn: str
    gust_kn: str
    shore: str
    water_c: str
    closed: str


def incidents_at(
    station: Station, *, kind: str = "", open_only: bool = False, since: datetime | None = None
) -> tuple[Listed, ...]:
    """Return incidents of a station, those open first and the newest first among them: two queries.

    Args:
        station: where.
        kind: only of that kind.
        open_only: leave closed ones out.
        since: only what happened from then on.
    """
    tellings = Telling.objects.newest().filter(incident__station=station)
    if kind in Kind.values:
        tellings = tellings.filter(kind=kind)
    if since is not None:
        tellings = tellings.filter(happened_at__gte=since)
    rows = tellings.select_related("incident", "outing__booking", "rider").order_by("-happened_at", "-id")
    turns = _turns(station)
    listed = [Listed(row.incident, row, is_shut(turns[row.incident_id])) for row in rows]
    shown = (row for row in listed if not (open_only and row.closed))
    # Cut only here, so that an old one still open is never cut off.
    return tuple(sorted(shown, key=lambda row: row.closed)[:MOST_LISTED])


def whole(actor: Actor, station: Station, incident_id: int) -> Whole:
    """Return an incident of a station with everything about it: four queries.

    Raises:
        NotVisible: there is none there for this actor.
    """
    incident = (
        Incident.objects.visible_to(actor)
        .filter(station=station, pk=incident_id)
        .select_related("reported_by")
        .first()
    )
    if incident is None:
        raise NotVisible("There is no such incident here.")
    return whole_of(incident)


def whole_of(incident: Incident) -> Whole:
    """Return everything about an incident: three queries."""
    tellings = incident.tellings.select_related("by", "rider", "outing__rider").order_by("version")
    return Whole(
        incident=incident,
        tellings=tuple(tellings),
        items=tuple(incident.items.select_related("item__model").order_by("id")),
        follow_ups=tuple(incident.follow_ups.select_related("by").order_by("id")),
    )


def weather_then(station: Station, happened_at: datetime) -> dict[str, object]:
    """Return the weather of a moment as it is kept with an incident: three queries."""
    beach = afloat.beach_now(station, now=happened_at, riders_afloat=0)
    hours = weather.hours_between(station, happened_at, happened_at + timedelta(minutes=1))
    return weather_at(station, beach, hours[0] if hours else None)


def kit_of(outing: Outing) -> list[Item]:
    """Return what an outing has or had with it: one query."""
    parts = KitPart.objects.filter(outing=outing).in_force().with_items()
    return [part.item for part in parts]


def items_tagged(station: Station, tags: Iterable[str]) -> dict[str, Item]:
    """Return items of a station by tag in capitals, those that exist: one query."""
    wanted = {tag.upper() for tag in tags}
    known = Item.objects.filter(station=station).annotate(upper=Upper("tag")).filter(upper__in=wanted)
    return {item.tag.upper(): item for item in known}


def nameless(station: Station) -> tuple[Nameless, ...]:
    """Return every incident of a station as it may be passed on, oldest first: three queries."""
    rows = list(
        Telling.objects.newest()
        .filter(incident__station=station)
        .select_related("rider", "outing__booking")
        .order_by("happened_at", "id")
    )
    kinds: dict[int, set[str]] = {row.incident_id: set() for row in rows}
    involved = IncidentItem.objects.filter(incident__station=station).values_list(
        "incident_id", "item__model__kind"
    )
    for incident_id, kind in involved:
        kinds[incident_id].add(kind)
    turns = _turns(station)
    return tuple(
        _without_names(station, row, kinds[row.incident_id], closed=is_shut(turns[row.incident_id]))
        for row in rows
    )


def _turns(station: Station) -> Counter[int]:
    """Return how often each incident of a station was closed or opened again: one query."""
    turned = FollowUp.objects.filter(incident__station=station, turn__isnull=False)
    return Counter(turned.values_list("incident_id", flat=True))


def _without_names(station: Station, row: Telling, kinds: Iterable[str], *, closed: bool) -> Nameless:
    local = station.local(row.happened_at)
    return Nameless(
        month=f"{local:%Y-%m}",
        hour=local.hour,
        kind=row.kind,
        severity=row.severity,
        cause=row.cause,
        level=row.rider.level if row.rider else "",
        age=age_band(row.rider.born_on, local) if row.rider else "",
        booking=row.outing.booking.kind if row.outing else "",
        item_kinds=" ".join(sorted(kinds)),
        wind_kn=_knots(row.weather.get("beach_mean_ms")),
        gust_kn=_knots(row.weather.get("beach_gust_ms")),
        shore=row.weather.get("shore") or "",
        water_c=_whole(row.weather.get("water_c")),
        closed="yes" if closed else "no",
    )


def _knots(wind_ms: float | None) -> str:
    return "" if wind_ms is None else _whole(float(units.knots(wind_ms)))


def _whole(value: float | None) -> str:
    return "" if value is None else f"{value:.0f}"
