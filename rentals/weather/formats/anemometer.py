"""A beach anemometer's CSV: one row a reading, columns named in the first line, local or stated time.

Column words and layouts: common practice, no source.
"""

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import Final, Literal

from rentals.weather.formats.quantities import (
    GUST,
    MEAN,
    Quantity,
    decoded,
    from_degrees,
    in_believed_years,
    number,
    quoted,
)
from rentals.weather.formats.reading import Reading, Readings, Unreadable, gathered
from rigging.units import COMPASS_POINTS, POINT_DEG

SpeedUnit = Literal["ms", "kn", "kmh"]

_PRINTED: Final[Mapping[SpeedUnit, str]] = {"ms": "m/s", "kn": "kn", "kmh": "km/h"}
_SYNONYMS: Final[Mapping[str, tuple[str, ...]]] = {
    "time": (
        "time",
        "timestamp",
        "datetime",
        "date time",
        "local time",
        "time local",
        "utc time",
        "time utc",
    ),
    "date": ("date", "day"),
    "mean": (
        "mean",
        "wind",
        "wind speed",
        "windspeed",
        "speed",
        "average",
        "avg",
        "mean wind",
        "wind mean",
        "mean speed",
        "avg speed",
        "average speed",
        "wind avg",
        "wind average",
    ),
    "gust": ("gust", "gusts", "max", "maximum", "peak", "wind gust", "gust speed", "wind max", "max speed"),
    "direction": (
        "direction",
        "dir",
        "from",
        "wind direction",
        "wind dir",
        "winddir",
        "bearing",
        "wind from",
    ),
}
_MEANINGS: Final = {synonym: meaning for meaning, synonyms in _SYNONYMS.items() for synonym in synonyms}
_DIRECTION_UNITS: Final = frozenset({"deg", "degrees", "°"})
_EMPTY: Final = frozenset({"", "-", "--", "---", "na", "n/a", "null", "none"})
_ISO: Final = re.compile(
    r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d{1,6})?)?( ?(?P<zone>Z|[+-]\d\d:?\d\d))?", re.ASCII
)
_DOTTED: Final = re.compile(r"(\d\d?)\.(\d\d?)\.(\d{4})[T ]+", re.ASCII)


@dataclass(frozen=True, slots=True)
class Columns:
    """Where the header puts what: the index by meaning, and the words that nothing is read from."""

    separator: str
    index: Mapping[str, int]
    count: int
    units: tuple[str, ...]
    in_utc: bool
    unused: tuple[str, ...]


def columns(header: str) -> Columns:
    """Read a header line such as `time;mean (kn);gust (kn);direction`.

    Raises:
        Unreadable: when it does not name a time and a mean wind, or names one twice.
    """
    separator = ";" if ";" in header else ","
    cells = _split(header, separator)
    index: dict[str, int] = {}
    units: list[str] = []
    unused: list[str] = []
    in_utc = False
    for at, cell in enumerate(cells):
        words, unit = _words(cell)
        meaning = _MEANINGS.get(words)
        if meaning is None:
            unused.append(cell.strip())
            continue
        if meaning in index:
            raise Unreadable(f"Two columns hold the {meaning}; leave one of them out.", field=meaning)
        index[meaning] = at
        in_utc = in_utc or (meaning == "time" and "utc" in words)
        if meaning in ("mean", "gust") and unit:
            units.append(unit)
    if "time" not in index and "date" in index:
        index["time"] = index.pop("date")
    if not {"time", "mean"} <= index.keys():
        raise Unreadable(
            "The first line must name the columns: time, mean, and if measured gust and direction."
        )
    return Columns(separator, index, len(cells), tuple(units), in_utc, tuple(unused))


def _split(line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:
        raise Unreadable("this row is not separated values") from None


def _words(cell: str) -> tuple[str, str]:
    """A column's name in plain words, and the unit at its end if it states one."""
    words = re.findall(r"[a-z0-9/°]+", cell.lower())
    if len(words) > 1 and (words[-1] in MEAN.scales or words[-1] in _DIRECTION_UNITS):
        return " ".join(words[:-1]), words[-1]
    return " ".join(words), ""


def parse_csv(text: str | bytes, *, zone: tzinfo, unit: SpeedUnit, height_m: float) -> Readings:
    """Read an anemometer's CSV, separated by `,` or by `;` (then numbers may carry a decimal comma).

    Times without an offset are local times of `zone`, or UTC when the header says so. A local time that the
    clock skips or shows twice is refused with its row: such a row needs an offset.

    Raises:
        Unreadable: without a usable header, when header and `unit` disagree, or when no row can be read.
    """
    numbered = _numbered(decoded(text))
    at, header = next(numbered, (1, ""))
    try:
        named = columns(header)
        _check_units(named, unit)
    except Unreadable as refusal:
        raise Unreadable(refusal.sentence, line=at, field=refusal.field) from None
    row_zone = UTC if named.in_utc else zone
    rows: list[tuple[int, Reading]] = []
    skipped: list[tuple[int, str]] = []
    for at, line in numbered:
        try:
            rows.append((at, _reading(_row(line, named), row_zone, unit, height_m)))
        except Unreadable as refusal:
            skipped.append((at, refusal.sentence.rstrip(".")))
    return gathered(rows, skipped, _notes(named, rows))


def _numbered(text: str) -> Iterator[tuple[int, str]]:
    for at, line in enumerate(re.split(r"\r\n|\r|\n", text), start=1):
        if line.strip() and not line.lstrip().startswith("#"):
            yield at, line


def _check_units(named: Columns, unit: SpeedUnit) -> None:
    for stated in named.units:
        if MEAN.scale(stated) != MEAN.scale(unit):
            raise Unreadable(
                f"The header says {stated}, the file was declared in {_PRINTED[unit]}; choose its unit.",
                field="unit",
            )


def _row(line: str, named: Columns) -> dict[str, str]:
    cells = _split(line, named.separator)
    if len(cells) != named.count:
        raise Unreadable(f"the row has {len(cells)} values, the header names {named.count}")
    return {meaning: cells[at].strip() for meaning, at in named.index.items()}


def _reading(row: Mapping[str, str], zone: tzinfo, unit: SpeedUnit, height_m: float) -> Reading:
    at = _moment(f"{row['date']} {row['time']}" if "date" in row else row["time"], zone)
    mean_ms = _speed(row["mean"], MEAN, unit)
    if mean_ms is None:
        raise Unreadable("the row has no mean wind")
    gust_ms = _speed(row.get("gust", ""), GUST, unit)
    if gust_ms is not None and gust_ms < mean_ms:
        raise Unreadable(f"the gust {row['gust']} is below the mean wind {row['mean']}")
    from_deg = _from(row.get("direction", ""))
    return Reading(at=at, mean_ms=mean_ms, gust_ms=gust_ms, from_deg=from_deg, height_m=height_m)


def _speed(cell: str, quantity: Quantity, unit: SpeedUnit) -> float | None:
    if cell.lower() in _EMPTY:
        return None
    return quantity.read(number(cell.replace(",", "."), quantity.word), _PRINTED[unit])


def _from(cell: str) -> float | None:
    if cell.lower() in _EMPTY or cell.upper() == "VRB":
        return None
    if cell.upper() in COMPASS_POINTS:
        return COMPASS_POINTS.index(cell.upper()) * POINT_DEG
    return from_degrees(number(cell.removesuffix("°").replace(",", "."), "wind direction"))


def _moment(cell: str, zone: tzinfo) -> datetime:
    written = _DOTTED.sub(lambda dotted: f"{dotted[3]}-{dotted[2]:0>2}-{dotted[1]:0>2} ", cell)
    match = _ISO.fullmatch(written)
    if not match:
        raise Unreadable(f"{quoted(cell)} is not a time such as 2026-07-01 14:30")
    try:
        moment = datetime.fromisoformat(written)
    except ValueError:
        raise Unreadable(f"there is no such time as {quoted(cell)}") from None
    return in_believed_years(moment if match["zone"] else _placed(moment, zone))


def _placed(local: datetime, zone: tzinfo) -> datetime:
    """A local time with its zone; `in_believed_years` comes later, so nothing is shifted here.

    Raises:
        Unreadable: when the clock of the zone skips this time or shows it twice.
    """
    first, second = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return first
    if first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != local:
        raise Unreadable(f"the clock skipped {local:%Y-%m-%d %H:%M} when summer time began")
    raise Unreadable(
        f"the clock showed {local:%Y-%m-%d %H:%M} twice; write it with its offset, such as +01:00"
    )


def _notes(named: Columns, rows: list[tuple[int, Reading]]) -> list[str]:
    notes = []
    if named.unused:
        notes.append("columns not used: " + ", ".join(quoted(word) for word in named.unused))
    if named.in_utc:
        notes.append("times are in UTC, as the header says")
    gustless = sum(reading.gust_ms is None for _, reading in rows)
    if rows and gustless:
        notes.append(f"{gustless} of {len(rows)} readings carry no gust")
    return notes
