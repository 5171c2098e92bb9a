"""Writing a station: where it lies, when it is open, and up to which wind each level goes afloat."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime, time
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.core.exceptions import ValidationError
from django.db import IntegrityError
from django.utils.text import slugify

from rentals.audit import services as journal
from rentals.lib.access import Act, Actor
from rentals.lib.problems import NotVisible, Refused
from rentals.lib.writes import inside_write, savepoint, write
from rentals.stations.models import Station, WindLimit
from rigging.levels import Level

MOST_LIMIT_MS = 30.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StationFacts:
    """What is entered about a station; bearings in degrees true."""

    name: str
    zone_name: str
    latitude_deg: float
    longitude_deg: float
    seaward_deg: float
    opens: time
    closes: time
    turn_round_min: int
    salt_water: bool
    watch_email: str
    rescue_number: str


class UnableToSetStation(Refused):
    """A station's facts do not hold together; fields say which."""

    slug = "station-refused"
    title = "Check the station"


@write
def change_station(*, actor: Actor, station_id: int, facts: StationFacts, now: datetime) -> Station:
    """Change a station's facts. Bookings that were made for other hours stay as they are.

    Raises:
        UnableToSetStation: a fact that cannot be, with its field.
    """
    actor.require(Act.SET_STATION, station_id=station_id)
    station = Station.objects.select_for_update().get(pk=station_id)
    before = {name: getattr(station, name) for name in asdict(facts)}
    keep_station(station, facts)
    changed = {
        name: [str(before[name]), str(value)]
        for name, value in asdict(facts).items()
        if before[name] != value
    }
    line = journal.Line("station", station.pk, f"Changed {', '.join(changed) or 'nothing'}", changed)
    journal.record(actor=actor, act=Act.SET_STATION, station_id=station.pk, lines=[line], now=now)
    return station


@write
def set_wind_limits(
    *, actor: Actor, station_id: int, limits: Mapping[str, float | None], now: datetime
) -> None:
    """Set the mean beach wind up to which each level may go afloat here, in m/s; None for the usual one.

    Raises:
        NotVisible: no such level.
        UnableToSetStation: a limit that cannot be.
    """
    actor.require(Act.SET_STATION, station_id=station_id)
    if unknown := set(limits) - {level.value for level in Level}:
        raise NotVisible(f"There is no level {min(unknown)}.")
    wrong = {
        level: f"Enter a wind above 0 and up to {MOST_LIMIT_MS:g} m/s, or nothing for the usual limit."
        for level, mean_ms in limits.items()
        if mean_ms is not None and not 0 < mean_ms <= MOST_LIMIT_MS
    }
    if wrong:
        raise UnableToSetStation(next(iter(wrong.values())), fields=wrong)
    WindLimit.objects.filter(station_id=station_id, level__in=limits).delete()
    WindLimit.objects.bulk_create(
        WindLimit(station_id=station_id, level=level, mean_ms=mean_ms)
        for level, mean_ms in limits.items()
        if mean_ms is not None
    )
    said = ", ".join(
        f"{level} {'as usual' if mean_ms is None else f'{mean_ms:.1f} m/s'}"
        for level, mean_ms in limits.items()
    )
    line = journal.Line("station", station_id, f"Wind limits: {said}", dict(limits))
    journal.record(actor=actor, act=Act.SET_STATION, station_id=station_id, lines=[line], now=now)


@inside_write
def keep_station(station: Station, facts: StationFacts) -> Station:
    """Write a station's facts, as part of a write that has asked who may; a new one gets its address.

    Raises:
        UnableToSetStation: a fact that cannot be, with its field.
    """
    for name, value in asdict(facts).items():
        setattr(station, name, value)
    wrong = {}
    try:
        ZoneInfo(facts.zone_name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        wrong["zone_name"] = "Enter a time zone such as Europe/Lisbon."
    if facts.closes <= facts.opens:
        wrong["closes"] = "Enter a closing time after the opening."
    if not station.slug:
        station.slug = slugify(facts.name)
        if not station.slug or Station.objects.filter(slug=station.slug).exists():
            wrong["name"] = "Enter a name of letters that no other station has."
    if not wrong:
        others = {field.name for field in station._meta.fields} - set(asdict(facts))
        try:
            station.full_clean(exclude=others)
        except ValidationError as error:
            wrong = {name: said[0] for name, said in error.message_dict.items()}
    if wrong:
        raise UnableToSetStation(next(iter(wrong.values())), fields=wrong)
    station.save()
    return station


@inside_write
def keep_currency(*, station_id: int, currency: str) -> None:
    """Keep the currency of a station's money, all of it, as part of a write that has asked who may.

    Raises:
        UnableToSetStation: there are amounts in another one already.
    """
    try:
        with savepoint():
            Station.objects.filter(pk=station_id).exclude(currency=currency).update(currency=currency)
    except IntegrityError as error:
        known = Station.objects.get(pk=station_id).currency
        raise UnableToSetStation.at("currency", f"There are amounts in {known} already; it stays.") from error
