"""The wind of a day and of a slot, and how the sources stand."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from rentals.lib.access import Actor
from rentals.lib.when import day_bounds
from rentals.stations.models import Station
from rentals.weather.mapping import blend, observation_to_core
from rentals.weather.models import Hour, Observation, Run, Source
from rigging import wind

FURTHEST_AHEAD = timedelta(days=16)
"""No run speaks of days further ahead, so none received earlier is looked at."""
OBSERVATION_AGE = timedelta(minutes=60)
STALE_AFTER = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class SourceState:
    """How a source stands, in a word and a sentence."""

    source_id: int
    label: str
    word: str
    sentence: str
    succeeded_at: datetime | None


@dataclass(frozen=True, slots=True)
class DayWind:
    """The wind of one day at one station, as the pages show it."""

    day: date
    start: datetime
    end: datetime
    hours: tuple[wind.Hour, ...]
    newest_run: Run | None
    stale: str


def day_wind(station: Station, day: date, *, now: datetime) -> DayWind:
    """Return the forecast wind of a station's day: two queries."""
    start, end = day_bounds(day, station.zone)
    newest = Run.objects.filter(station=station).order_by("-received_at").first()
    return DayWind(
        day=day,
        start=start,
        end=end,
        hours=hours_between(station, start, end),
        newest_run=newest,
        stale=_stale(newest, now),
    )


def hours_between(station: Station, start: datetime, end: datetime) -> tuple[wind.Hour, ...]:
    """Return blended forecast hours that meet a span: one query."""
    rows = (
        Hour.objects.between(start, end)
        .filter(run__station=station, run__received_at__gt=start - FURTHEST_AHEAD)
        .select_related("run")
    )
    return blend(rows)


def latest_observation(station: Station, *, now: datetime) -> Observation | None:
    """Return the newest wind measured on the beach within the hour, or None: one query."""
    return (
        Observation.objects.filter(station=station, at__gt=now - OBSERVATION_AGE, at__lte=now)
        .order_by("-at", "-id")
        .first()
    )


def wind_over(station: Station, start: datetime, end: datetime) -> tuple[wind.Hour, ...]:
    """Return what is known of the wind of a span that is over, measured before forecast: two queries."""
    measured = Observation.objects.filter(station=station, at__gt=start - OBSERVATION_AGE, at__lt=end)
    return (
        *hours_between(station, start, end),
        *(observation_to_core(each) for each in measured.order_by("at", "id")),
    )


def source_states(actor: Actor, station: Station, *, now: datetime) -> tuple[SourceState, ...]:
    """Return how each source of a station stands: one query."""
    if station.pk not in actor.station_ids:
        return ()
    return tuple(
        state_of(source, now) for source in Source.objects.filter(station=station).order_by("kind", "id")
    )


def state_of(source: Source, now: datetime) -> SourceState:
    """Return how a source stands: no query."""
    word, sentence = _word(source, now)
    return SourceState(source.pk, source.get_kind_display(), word, sentence, source.succeeded_at)


def _word(source: Source, now: datetime) -> tuple[str, str]:
    if not source.active:
        return "off", "Switched off."
    if source.failures:
        kept = "The last good forecast stays in force." if source.succeeded_at else "It has not worked yet."
        return "failing", f"{source.error} {kept}"
    if source.succeeded_at is None:
        return "waiting", "Not fetched yet."
    if now - source.succeeded_at > STALE_AFTER:
        return "stale", "Nothing new for more than twelve hours."
    return "fresh", "Up to date."


def _stale(newest: Run | None, now: datetime) -> str:
    if newest is None:
        return "There is no forecast yet. Enter the wind by hand, or load a file."
    if now - newest.received_at > STALE_AFTER:
        return "The newest forecast is more than twelve hours old. Look at the sky before you trust it."
    return ""
