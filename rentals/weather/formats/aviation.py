"""METAR and TAF text as measured winds and forecast hours.

Sources: WMO-No. 306 (FM 15 METAR, FM 51 TAF) and ICAO Annex 3, from memory: wind at 10 m, averaged over
ten minutes (two in the United States), a gust group only when the gust exceeds the mean by 10 kn (5 m/s).
"""

import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any, Final

from metar_taf_parser.model.enum import WeatherChangeType
from metar_taf_parser.parser.parser import MetarParser, TAFParser

from rentals.weather.formats.bulletin import (
    Report,
    Wind,
    check_winds,
    last_moment,
    next_moment,
    parsed,
    reports,
    wind,
)
from rentals.weather.formats.quantities import AIR_TEMPERATURE, clock, decoded, quoted
from rentals.weather.formats.reading import (
    Forecast,
    ForecastHour,
    Reading,
    Readings,
    Unreadable,
    finished,
    gust_notes,
)

HEIGHT_M: Final = 10.0
AVERAGING_S: Final = 600
US_AVERAGING_S: Final = 120
_US_STATIONS: Final = ("K", "PA", "PH")
_TRENDS: Final = frozenset({"TEMPO", "BECMG", "NOSIG"})
_EXTREME: Final = re.compile(r"T[XN]M?\d", re.ASCII)
_LONGEST_VALIDITY: Final = timedelta(hours=48)
"""TAFs run 30 hours at most (from memory); beyond two days a digit of the validity is wrong."""
_HOUR: Final = timedelta(hours=1)
_PARTIAL: Final = (
    "a METAR or TAF tells a gust only when it is 10 kn (5 m/s) above the mean: none told is not none blown"
)


def parse_metar(text: str | bytes, *, reference: datetime) -> Readings:
    """Read METAR and SPECI reports, each dated to its last occurrence before the reference.

    Trends and remarks are not measured winds and are left aside. Reports without a wind are skipped.

    Raises:
        Unreadable: when no report gives a wind.
        ValueError: for a naive reference.
    """
    reference = _aware(reference)
    kept: dict[tuple[str, datetime], Reading] = {}
    skipped: list[tuple[int, str]] = []
    for report in reports(decoded(text)):
        try:
            reading = _reading(report, reference)
        except Unreadable as refusal:
            skipped.append((report.line, refusal.sentence.rstrip(".")))
            continue
        if (report.station, reading.at) in kept:
            skipped.append((report.line, f"repeats the report of {report.station} at {clock(reading.at)}"))
        kept.setdefault((report.station, reading.at), reading)
    return finished(kept.values(), skipped, _metar_notes(kept))


def _metar_notes(kept: dict[tuple[str, datetime], Reading]) -> list[str]:
    stations = sorted({station for station, _ in kept})
    notes = []
    if len(stations) > 1:
        notes.append(f"{len(stations)} stations report here ({', '.join(stations)}): keep the beach's own")
    gustless = sum(reading.gust_ms is None for reading in kept.values())
    if gustless:
        notes.append(f"{gustless} of {len(kept)} reports carry no gust; {_PARTIAL}")
    return notes


def _reading(report: Report, reference: datetime) -> Reading:
    if report.is_taf:
        raise Unreadable("this is a TAF: read it as a forecast")
    if not report.is_dated:
        start = " ".join(report.words[:2])
        raise Unreadable(f"{quoted(start)} is not a station and a time such as EGZZ 011150Z")
    if "NIL" in report.body:
        raise Unreadable(f"{report.station} sent no report (NIL)")
    trend = next((at for at, word in enumerate(report.body) if word in _TRENDS), len(report.body))
    words = report.body[:trend]
    metar = parsed(MetarParser().parse, words)
    check_winds(words, [metar.wind])
    measured = wind(metar.wind)
    if measured is None:
        raise Unreadable(f"{report.station} reports no wind")
    return Reading(
        at=last_moment(metar.day, metar.time.hour, metar.time.minute, reference),
        mean_ms=measured.mean_ms,
        gust_ms=measured.gust_ms,
        from_deg=measured.from_deg,
        height_m=HEIGHT_M,
        averaging_s=US_AVERAGING_S if report.station.startswith(_US_STATIONS) else AVERAGING_S,
        temperature_c=None
        if metar.temperature is None
        else AIR_TEMPERATURE.read(metar.temperature, "celsius"),
    )


@dataclass(frozen=True, slots=True)
class _Change:
    """A change group: from when to when, and its wind (None when it speaks of other weather only)."""

    kind: WeatherChangeType
    start: datetime
    end: datetime
    wind: Wind | None


def parse_taf(text: str | bytes, *, reference: datetime) -> Forecast:
    """Read one TAF into steps of an hour, cut shorter where a change falls within the hour.

    FM replaces the wind at its minute. BECMG replaces it when its span ends; within the span the stronger of
    both is taken. TEMPO, PROB and INTER never move the mean: their strongest wind counts as gust.

    Raises:
        Unreadable: for no TAF, more than one, a cancelled one, or one whose winds or times can't be read.
        ValueError: for a naive reference.
    """
    report = _only_taf(decoded(text))
    try:
        return _forecast(report, _aware(reference))
    except Unreadable as refusal:
        raise Unreadable(refusal.sentence, line=report.line) from None


def _only_taf(text: str) -> Report:
    tafs = [report for report in reports(text) if report.is_taf]
    if not tafs:
        raise Unreadable("There is no TAF here: a station, the issue time and a validity such as 0912/1018.")
    if len(tafs) > 1:
        raise Unreadable(
            f"There are {len(tafs)} TAFs here; send the one that speaks for the beach.", line=tafs[1].line
        )
    return tafs[0]


def _forecast(report: Report, reference: datetime) -> Forecast:
    if {"CNL", "NIL"} & set(report.body):
        raise Unreadable("This TAF is cancelled or empty; wait for the next one.")
    # Extreme temperatures say nothing about the wind and must not be what makes a TAF unreadable.
    words = [word for word in report.body if not _EXTREME.match(word)]
    taf = parsed(TAFParser().parse, ["TAF", *words])
    check_winds(words, [taf.wind, *(trend.wind for trend in taf.trends)])
    opening = wind(taf.wind)
    if opening is None:
        raise Unreadable("This TAF states no wind; enter the forecast by hand.")
    issued_at = last_moment(taf.day, taf.time.hour, taf.time.minute, reference) if report.is_dated else None
    start, end = _validity(taf.validity, issued_at, reference)
    changes = [_change(trend, start, end) for trend in taf.trends]
    hours, windless = _steps(start, end, opening, changes)
    if not hours:
        raise Unreadable("This TAF states no wind for any hour; enter the forecast by hand.")
    notes = [*_change_notes(changes), *(f"{note}; {_PARTIAL}" for note in gust_notes(hours))]
    if windless:
        notes.append(f"{windless} steps have no wind and are left out")
    return Forecast(issued_at=issued_at, hours=tuple(hours), notes=tuple(notes))


def _validity(found: Any, issued_at: datetime | None, reference: datetime) -> tuple[datetime, datetime]:
    """Start and end; an amended TAF may keep a validity that began up to a day before its issue."""
    if issued_at is None:
        start = last_moment(found.start_day, found.start_hour, 0, reference)
    else:
        start = next_moment(found.start_day, found.start_hour, 0, issued_at - timedelta(days=1))
    end = next_moment(found.end_day, found.end_hour, 0, start)
    if not start < end <= start + _LONGEST_VALIDITY:
        raise Unreadable(
            f"The validity from {clock(start)} to {clock(end)} can't be right; check its digits."
        )
    return start, end


def _change(trend: Any, start: datetime, end: datetime) -> _Change:
    # The library sets no validity at all on a group without times.
    validity = getattr(trend, "validity", None)
    if validity is None:
        raise Unreadable(
            f"A {trend.type.value} group of this TAF has no times; check that it was copied whole."
        )
    minute = getattr(validity, "start_minutes", 0)
    since = next_moment(validity.start_day, validity.start_hour, minute, start)
    until = end
    if trend.type is not WeatherChangeType.FM:
        until = next_moment(validity.end_day, validity.end_hour, 0, since)
    if since >= end or until > end or until <= since:
        raise Unreadable(
            f"A {trend.type.value} group from {clock(since)} to {clock(until)} "
            "lies outside the TAF's validity; check its digits."
        )
    return _Change(trend.type, since, until, wind(trend.wind))


def _steps(
    start: datetime, end: datetime, opening: Wind, changes: list[_Change]
) -> tuple[list[ForecastHour], int]:
    """The steps, and how many were left out because no wind is stated for them."""
    cuts = {start, end} | {moment for change in changes for moment in (change.start, change.end)}
    whole = start
    while whole < end:
        cuts.add(whole)
        whole += _HOUR
    moments = sorted(cuts)
    hours = []
    for since, until in pairwise(moments):
        blowing = _blowing(since, until, opening, changes)
        if blowing is not None:
            hours.append(
                ForecastHour(
                    starts_at=since,
                    minutes=(until - since) // timedelta(minutes=1),
                    mean_ms=blowing.mean_ms,
                    gust_ms=blowing.gust_ms,
                    from_deg=blowing.from_deg,
                )
            )
    return hours, len(moments) - 1 - len(hours)


def _blowing(since: datetime, until: datetime, opening: Wind, changes: list[_Change]) -> Wind | None:
    current: Wind | None = opening
    for moment, taken_over_by in _takeovers(changes):
        if moment <= since:
            current = taken_over_by
    for change in changes:
        if change.wind is None or not (change.start <= since and until <= change.end):
            continue
        if change.kind is WeatherChangeType.BECMG:
            current = _stronger(current, change.wind)
        elif change.kind is not WeatherChangeType.FM:
            current = _raised(current, change.wind)
    return current


def _takeovers(changes: list[_Change]) -> list[tuple[datetime, Wind | None]]:
    """From when which wind prevails; a FM without a wind leaves none known, such a BECMG changes nothing."""
    taken = [(change.start, change.wind) for change in changes if change.kind is WeatherChangeType.FM]
    becoming = [change for change in changes if change.kind is WeatherChangeType.BECMG and change.wind]
    taken.extend((change.end, change.wind) for change in becoming)
    return sorted(taken, key=lambda takeover: takeover[0])


def _stronger(before: Wind | None, after: Wind) -> Wind:
    """The stronger mean with its direction, and the strongest gust of both that tops it."""
    if before is None:
        return after
    stronger, weaker = (after, before) if after.mean_ms > before.mean_ms else (before, after)
    return _raised(stronger, weaker) or stronger


def _raised(current: Wind | None, passing: Wind) -> Wind | None:
    """The current wind with its gust raised to the strongest wind of a passing change."""
    if current is None or passing.peak_ms <= current.peak_ms:
        return current
    return replace(current, gust_ms=passing.peak_ms)


def _change_notes(changes: list[_Change]) -> list[str]:
    notes = []
    for change in changes:
        if change.wind is None:
            continue
        span = f"{change.kind.value} {change.wind.group} from {clock(change.start)} to {clock(change.end)}"
        if change.kind is WeatherChangeType.BECMG:
            notes.append(f"{span}: when within it is not said, so the stronger wind of both is taken")
        elif change.kind is not WeatherChangeType.FM:
            notes.append(f"{span} is passing or only probable: it counts as gust, not as mean wind")
    return notes


def _aware(reference: datetime) -> datetime:
    if reference.tzinfo is None:
        raise ValueError("the reference of a report must carry a time zone")
    return reference.astimezone(UTC)
