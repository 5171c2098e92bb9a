"""The national met service's forecast: a GeoJSON Feature with a time series, read with the units it states.

Source: "General forecast JSON format" of the service's developer pages, and its saved answers in
`fixtures/samples`.
"""

import json
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any, Final

from rentals.weather.formats.quantities import (
    AIR_TEMPERATURE,
    DIRECTION,
    GUST,
    HUMIDITY,
    MEAN,
    PRESSURE,
    Quantity,
    clock,
    decoded,
    from_degrees,
    in_believed_years,
    quoted,
)
from rentals.weather.formats.reading import Forecast, ForecastHour, Unreadable, gust_notes

_FIELDS: Final[Mapping[str, tuple[str, Quantity]]] = {
    "mean_ms": ("wind_speed", MEAN),
    "gust_ms": ("wind_speed_of_gust", GUST),
    "from_deg": ("wind_from_direction", DIRECTION),
    "temperature_c": ("air_temperature", AIR_TEMPERATURE),
    "pressure_hpa": ("air_pressure_at_sea_level", PRESSURE),
    "relative_humidity": ("relative_humidity", HUMIDITY),
}
_BLOCK: Final = re.compile(r"next_(\d{1,2})_hours", re.ASCII)
_LONGEST_STEP: Final = timedelta(hours=6)
"""The longest step of the published series; nothing speaks for a value beyond it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Entry:
    at: datetime
    block: timedelta | None
    values: Mapping[str, float]


def parse(text: str | bytes) -> Forecast:
    """Read a forecast; speeds become m/s, temperatures celsius, pressure hPa, humidity a fraction.

    A step lasts as long as its shortest `next_N_hours` block says, and never beyond the next entry; without
    a block it lasts to the next entry, at most six hours. The last entry is left out when it has no block.

    Raises:
        Unreadable: for anything but such a Feature: broken JSON, unknown units, wrong types, naive times.
    """
    properties = _member(_feature(text), "properties", dict)
    meta = _member(properties, "meta", dict, "properties.")
    units = _member(meta, "units", dict, "properties.meta.")
    series = _member(properties, "timeseries", list, "properties.")
    entries = [_entry(item, units, f"properties.timeseries[{at}]") for at, item in enumerate(series)]
    entries.sort(key=lambda entry: entry.at)
    for one, next_one in pairwise(entries):
        if one.at == next_one.at:
            raise Unreadable(f"Two entries speak of {clock(one.at)}; fetch the forecast again.")
    hours, notes = _hours(entries)
    if not hours:
        raise Unreadable("No entry of this forecast holds a wind; fetch it again.")
    issued_at = _issued_at(meta)
    if issued_at is None:
        notes.append("the file does not say when it was issued")
    return Forecast(issued_at=issued_at, hours=tuple(hours), notes=(*notes, *_said(hours)))


def _feature(text: str | bytes) -> dict[str, Any]:
    try:
        found = json.loads(decoded(text))
    except (ValueError, RecursionError) as error:
        if isinstance(error, Unreadable):
            raise
        line = error.lineno if isinstance(error, json.JSONDecodeError) else None
        raise Unreadable(
            "This is not whole JSON, most likely cut off on the way; fetch or export the forecast again.",
            line=line,
        ) from None
    if isinstance(found, dict) and "data" in found and "status_code" in found:
        raise Unreadable("This is a saved web answer; send only its `data` member.", field="data")
    if not isinstance(found, dict) or found.get("type") != "Feature":
        raise Unreadable(
            "This is not a location forecast: a GeoJSON Feature with a time series.", field="type"
        )
    return found


def _member(parent: Mapping[str, Any], name: str, kind: type[Any], prefix: str = "") -> Any:
    value = parent.get(name)
    if not isinstance(value, kind):
        word = "An object" if kind is dict else "A list"
        raise Unreadable(f"{word} is expected here; fetch the forecast again.", field=prefix + name)
    return value


def _moment(value: object, field: str) -> datetime:
    try:
        moment = datetime.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        moment = None
    if moment is None:
        raise Unreadable(f"{quoted(value)} is not a time such as 2026-07-01T12:00:00Z.", field=field)
    if moment.tzinfo is None:
        raise Unreadable(f"The time {quoted(value)} has no zone; it must end in Z or an offset.", field=field)
    try:
        return in_believed_years(moment)
    except Unreadable as refusal:
        raise refusal.within(field) from None


def _issued_at(meta: Mapping[str, Any]) -> datetime | None:
    if meta.get("updated_at") is None:
        return None
    return _moment(meta["updated_at"], "properties.meta.updated_at")


def _entry(item: object, units: Mapping[str, Any], field: str) -> _Entry:
    if not isinstance(item, dict):
        raise Unreadable("An object is expected here; fetch the forecast again.", field=field)
    data = _member(item, "data", dict, f"{field}.")
    instant = _member(data, "instant", dict, f"{field}.data.")
    details = _member(instant, "details", dict, f"{field}.data.instant.")
    values = {
        ours: _value(details[theirs], theirs, quantity, units, f"{field}.data.instant.details.{theirs}")
        for ours, (theirs, quantity) in _FIELDS.items()
        if details.get(theirs) is not None
    }
    return _Entry(at=_moment(item.get("time"), f"{field}.time"), block=_block(data), values=values)


def _value(raw: object, name: str, quantity: Quantity, units: Mapping[str, Any], field: str) -> float:
    unit = units.get(name)
    if not isinstance(unit, str):
        raise Unreadable(
            f"The file does not state the unit of {name}; fetch the forecast again.",
            field=f"properties.meta.units.{name}",
        )
    try:
        quantity.scale(unit)
    except Unreadable as refusal:
        raise refusal.within(f"properties.meta.units.{name}") from None
    try:
        return from_degrees(raw, unit) if quantity is DIRECTION else quantity.read(raw, unit)
    except Unreadable as refusal:
        raise refusal.within(field) from None


def _block(data: Mapping[str, Any]) -> timedelta | None:
    lengths = [
        int(match[1])
        for name, block in data.items()
        if isinstance(block, dict) and (match := _BLOCK.fullmatch(name))
    ]
    shortest = min((length for length in lengths if 0 < length <= 24), default=None)
    return None if shortest is None else timedelta(hours=shortest)


def _hours(entries: list[_Entry]) -> tuple[list[ForecastHour], list[str]]:
    hours: list[ForecastHour] = []
    notes: list[str] = []
    windless = below = 0
    for at, entry in enumerate(entries):
        minutes = _minutes(entry, entries[at + 1].at if at + 1 < len(entries) else None)
        if minutes is None:
            notes.append(
                f"the entry of {clock(entry.at)} is left out: the file does not say how long it lasts"
            )
        elif "mean_ms" not in entry.values:
            windless += 1
        else:
            values = dict(entry.values)
            if values.get("gust_ms", values["mean_ms"]) < values["mean_ms"]:
                del values["gust_ms"]
                below += 1
            hours.append(ForecastHour(starts_at=entry.at, minutes=minutes, **values))
    if windless:
        notes.append(f"{windless} of {len(entries)} entries carry no wind and are left out")
    if below:
        notes.append(f"{below} of {len(entries)} gusts are below their mean wind and are left out")
    return hours, notes


def _minutes(entry: _Entry, following: datetime | None) -> int | None:
    """Whole minutes of a step, None where the file does not say."""
    length = entry.block
    if following is not None:
        length = min(following - entry.at, entry.block or _LONGEST_STEP)
    minutes = 0 if length is None else length // timedelta(minutes=1)
    return minutes or None


def _said(hours: list[ForecastHour]) -> list[str]:
    """What a reader of these hours must know: gusts missing, uneven steps, holes."""
    notes = gust_notes(hours)
    lengths = Counter(hour.minutes for hour in hours)
    if len(lengths) > 1:
        notes.append(
            "uneven steps: " + ", ".join(f"{n} of {minutes} minutes" for minutes, n in lengths.items())
        )
    ends = [hour.starts_at + timedelta(minutes=hour.minutes) for hour in hours]
    holes = [
        (end, later.starts_at) for end, later in zip(ends, hours[1:], strict=False) if end < later.starts_at
    ]
    if holes:
        more = f" and {len(holes) - 1} more gaps" if len(holes) > 1 else ""
        notes.append(f"nothing is said from {clock(holes[0][0])} to {clock(holes[0][1])}{more}")
    return notes
