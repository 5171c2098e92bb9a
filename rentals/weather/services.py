"""Taking wind in: forecasts and readings from files, by hand, and from the sources that are fetched."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from rentals.audit import services as journal
from rentals.lib.access import Act, Actor, System
from rentals.lib.problems import NotVisible, Refused
from rentals.lib.when import is_aware
from rentals.lib.writes import inside_write, write
from rentals.stations.models import Station
from rentals.weather.fetched import Fetched, next_try_at
from rentals.weather.formats.anemometer import SpeedUnit
from rentals.weather.formats.kind import Kind as Form
from rentals.weather.formats.reader import STANDARD_HEIGHT_M, Given, read
from rentals.weather.formats.reading import Forecast, ForecastHour, Reading, Readings, Unreadable
from rentals.weather.models import (
    EVERY_MIN,
    FETCHED,
    STRONGEST_GUST_MS,
    WIND_MS,
    Hour,
    Kind,
    Observation,
    Run,
    Source,
)

LONGEST_HAND_ENTRY = timedelta(hours=24)
FURTHEST_HAND_ENTRY = timedelta(days=14)
LEASE = timedelta(minutes=5)

KINDS = {
    Form.LOCATIONFORECAST: Kind.LOCATIONFORECAST,
    Form.TAF: Kind.TAF,
    Form.METAR: Kind.METAR,
    Form.STDMET: Kind.BUOY,
    Form.CWIND: Kind.BUOY,
    Form.ANEMOMETER: Kind.ANEMOMETER,
}
"""Forms that are read, and what is kept of them."""


class UnableToTakeWind(Refused):
    """What was entered is no wind that could blow."""

    slug = "wind-refused"
    title = "Check the wind"


@dataclass(frozen=True, slots=True, kw_only=True)
class HandHour:
    """A wind entered by hand: over a span, at 10 m or as the beach feels it, already in m/s at 10 m."""

    starts_at: datetime
    ends_at: datetime
    mean_ms: float
    gust_ms: float | None
    from_deg: float | None


@write
def enter_by_hand(*, actor: Actor, station_id: int, hour: HandHour, now: datetime) -> Run:
    """Keep a forecast entered by staff; it counts before older ones.

    Raises:
        UnableToTakeWind: a span or wind that cannot be, with its field.
    """
    actor.require(Act.ENTER_WEATHER, station_id=station_id)
    if not (is_aware(hour.starts_at) and is_aware(hour.ends_at)):
        raise UnableToTakeWind.at("starts_at", "Enter times with their zone.")
    # In UTC, where the hour that the clocks show twice is two.
    start = hour.starts_at.astimezone(UTC)
    length = hour.ends_at.astimezone(UTC) - start
    if not timedelta(minutes=1) <= length <= LONGEST_HAND_ENTRY:
        raise UnableToTakeWind.at("ends_at", "Enter an end after the start, at most a day later.")
    if start > now + FURTHEST_HAND_ENTRY:
        raise UnableToTakeWind.at("starts_at", "Enter a wind within the next two weeks.")
    wrong = wind_faults(mean_ms=hour.mean_ms, gust_ms=hour.gust_ms, from_deg=hour.from_deg)
    if wrong:
        raise UnableToTakeWind(next(iter(wrong.values())), fields=wrong)
    minutes = int(length.total_seconds() // 60)
    entered = ForecastHour(
        starts_at=start,
        minutes=minutes,
        mean_ms=hour.mean_ms,
        gust_ms=hour.gust_ms,
        from_deg=hour.from_deg,
    )
    forecast = Forecast(issued_at=now, hours=(entered,))
    return _keep_forecast(actor, Act.ENTER_WEATHER, station_id, Kind.HAND, forecast, None, now)


@dataclass(frozen=True, slots=True, kw_only=True)
class Took:
    """What a file brought: its kind, how much of it was kept, and what it left out."""

    kind: Kind
    kept: int
    notes: tuple[str, ...]


@write
def take_file(
    *,
    actor: Actor,
    station_id: int,
    content: bytes,
    unit: SpeedUnit = "ms",
    height_m: float = STANDARD_HEIGHT_M,
    now: datetime,
) -> Took:
    """Keep the forecast or readings of a file that staff loaded.

    Args:
        actor: who loads it.
        station_id: where it counts.
        content: the file.
        unit: of an anemometer's CSV that does not say.
        height_m: of the instrument over the ground or water.
        now: the moment.

    Raises:
        UnableToTakeWind: the file cannot be read; the sentence says why and what to do.
    """
    actor.require(Act.ENTER_WEATHER, station_id=station_id)
    station = Station.objects.get(pk=station_id)
    try:
        form, said = read(content, Given(now=now, zone=station.zone, height_m=height_m, unit=unit))
    except Unreadable as problem:
        raise UnableToTakeWind.at("file", str(problem)) from problem
    kind = KINDS[form]
    if isinstance(said, Forecast):
        _keep_forecast(actor, Act.ENTER_WEATHER, station_id, kind, said, None, now)
        return Took(kind=kind, kept=len(said.hours), notes=said.notes)
    kept = keep_readings(
        actor=actor, act=Act.ENTER_WEATHER, station_id=station_id, kind=kind, readings=said.readings, now=now
    )
    skipped = tuple(f"Line {line}: {why}" for line, why in said.skipped)
    return Took(kind=kind, kept=kept, notes=said.notes + skipped)


@write
def add_source(
    *,
    actor: Actor,
    station_id: int,
    kind: Kind,
    url: str,
    every_min: int = 60,
    height_m: float = STANDARD_HEIGHT_M,
    now: datetime,
) -> Source:
    """Add an address that is fetched from now on; one known already is switched on again.

    Raises:
        UnableToTakeWind: a kind that cannot be fetched, no web address, or times and heights out of range.
    """
    actor.require(Act.SET_STATION, station_id=station_id)
    if kind not in FETCHED:
        raise UnableToTakeWind.at("kind", "Choose a kind that can be fetched.")
    if not url.startswith(("https://", "http://")):
        raise UnableToTakeWind.at("url", "Enter a web address that begins with https://")
    if not EVERY_MIN[0] <= every_min <= EVERY_MIN[1]:
        raise UnableToTakeWind.at("every_min", f"Enter {EVERY_MIN[0]} to {EVERY_MIN[1]} minutes.")
    source, _new = Source.objects.update_or_create(
        station_id=station_id,
        url=url,
        defaults={
            "kind": kind,
            "every_min": every_min,
            "height_m": height_m,
            "active": True,
            "next_try_at": now,
        },
    )
    _tell_of_source(actor, source, f"Fetches a {kind.label} from {url}", now)
    return source


@write
def stop_source(*, actor: Actor, station_id: int, source_id: int, now: datetime) -> None:
    """Fetch a source no longer; what it brought stays.

    Raises:
        NotVisible: no such source at this station.
    """
    actor.require(Act.SET_STATION, station_id=station_id)
    source = Source.objects.filter(station_id=station_id, pk=source_id).first()
    if source is None:
        raise NotVisible("There is no such source here.")
    Source.objects.filter(pk=source.pk).update(active=False)
    _tell_of_source(actor, source, f"No longer fetches {source.url}", now)


@dataclass(frozen=True, slots=True)
class Errand:
    """One source to fetch, taken by this worker alone until its lease runs out."""

    source_id: int
    station_id: int
    kind: Kind
    zone: ZoneInfo
    height_m: float
    url: str
    etag: str
    last_modified: str


@write
def take_errand(*, actor: Actor, now: datetime) -> Errand | None:
    """Take the source that is due longest; None when none is.

    The next try is moved first, by compare and set, so that two workers never fetch the same source at once
    and a worker killed on its way is made up for.
    """
    actor.require_system(System.FETCH)
    for source in Source.objects.due(now).select_related("station")[:5]:
        mine = Source.objects.filter(pk=source.pk, next_try_at=source.next_try_at, active=True)
        if mine.update(next_try_at=now + LEASE, tried_at=now):
            return Errand(
                source_id=source.pk,
                station_id=source.station_id,
                kind=Kind(source.kind),
                zone=source.station.zone,
                height_m=source.height_m,
                url=source.url,
                etag=source.etag,
                last_modified=source.last_modified,
            )
    return None


@write
def end_errand(
    *,
    actor: Actor,
    errand: Errand,
    fetched: Fetched,
    content: Forecast | Readings | None,
    error: str | None,
    now: datetime,
) -> None:
    """Keep what a fetch brought, or why it failed and when to try again. What was good before stays."""
    actor.require_system(System.FETCH)
    source = Source.objects.select_for_update().get(pk=errand.source_id)
    if error is not None:
        source.failures += 1
        source.error = error[:300]
        source.next_try_at = next_try_at(now, source.failures, fetched.retry_after_s, seed=source.pk)
    else:
        if isinstance(content, Forecast):
            _keep_forecast(actor, System.FETCH, source.station_id, errand.kind, content, source, now)
        elif isinstance(content, Readings):
            keep_readings(
                actor=actor,
                act=System.FETCH,
                station_id=source.station_id,
                kind=errand.kind,
                readings=content.readings,
                now=now,
            )
        source.etag, source.last_modified = fetched.etag or "", fetched.last_modified or ""
        source.failures, source.error, source.succeeded_at = 0, "", now
        source.next_try_at = max(now + timedelta(minutes=source.every_min), fetched.expires_at or now)
    source.save()


def wind_faults(*, mean_ms: float, gust_ms: float | None, from_deg: float | None) -> dict[str, str]:
    """Return what is wrong with a wind that somebody entered, by field; empty when it could blow."""
    wrong = {}
    if not WIND_MS[0] <= mean_ms <= WIND_MS[1]:
        wrong["mean"] = f"Enter a mean between {WIND_MS[0]} and {WIND_MS[1]} m/s."
    if gust_ms is not None and not mean_ms <= gust_ms <= STRONGEST_GUST_MS:
        wrong["gust"] = "Enter a gust at least as strong as the mean, or leave it empty."
    if from_deg is not None and not 0 <= from_deg <= 360:
        wrong["from_deg"] = "Enter a direction between 0 and 360 degrees."
    return wrong


@inside_write
def keep_readings(
    *,
    actor: Actor,
    act: Act | System,
    station_id: int,
    kind: Kind,
    readings: Sequence[Reading],
    now: datetime,
) -> int:
    """Keep readings that are not there yet, as part of a write; return how many were new."""
    if not readings:
        return 0
    known = set(
        Observation.objects.filter(
            station_id=station_id, kind=kind, at__range=(readings[0].at, readings[-1].at)
        ).values_list("at", flat=True)
    )
    new = [reading for reading in readings if reading.at not in known]
    Observation.objects.bulk_create(
        (
            Observation(
                station_id=station_id,
                kind=kind,
                at=reading.at,
                mean_ms=reading.mean_ms,
                gust_ms=reading.gust_ms,
                from_deg=reading.from_deg,
                height_m=reading.height_m,
                averaging_s=reading.averaging_s,
                temperature_c=reading.temperature_c,
                water_c=reading.water_c,
            )
            for reading in new
        ),
        ignore_conflicts=True,
        batch_size=500,
    )
    line = journal.Line("station", station_id, f"Took in {len(new)} readings: {kind.label}")
    journal.record(actor=actor, act=act, station_id=station_id, lines=[line], now=now)
    return len(new)


def _tell_of_source(actor: Actor, source: Source, text: str, now: datetime) -> None:
    line = journal.Line("station", source.station_id, text)
    journal.record(actor=actor, act=Act.SET_STATION, station_id=source.station_id, lines=[line], now=now)


def _keep_forecast(
    actor: Actor,
    act: Act | System,
    station_id: int,
    kind: Kind,
    forecast: Forecast,
    source: Source | None,
    now: datetime,
) -> Run:
    run = Run.objects.create(
        station_id=station_id,
        source=source,
        kind=kind,
        issued_at=forecast.issued_at,
        received_at=now,
        notes=list(forecast.notes),
    )
    Hour.objects.bulk_create(
        (
            Hour(
                run=run,
                starts_at=hour.starts_at,
                ends_at=hour.starts_at + timedelta(minutes=hour.minutes),
                mean_ms=hour.mean_ms,
                gust_ms=hour.gust_ms,
                from_deg=hour.from_deg,
                temperature_c=hour.temperature_c,
                pressure_hpa=hour.pressure_hpa,
                relative_humidity=hour.relative_humidity,
            )
            for hour in forecast.hours
        ),
        batch_size=500,
    )
    line = journal.Line(
        "station", station_id, f"Took in a forecast of {len(forecast.hours)} steps: {kind.label}"
    )
    journal.record(actor=actor, act=act, station_id=station_id, lines=[line], now=now)
    return run
