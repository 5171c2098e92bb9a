"""Public buoy files: standard meteorological (stdmet) and continuous winds (cwind), column by named column.

Source: the two header lines of the files themselves (names, then units; UTC) and the saved files in
`fixtures/samples`. The height of the anemometer is in the station's own sheet, never in the file.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from rentals.weather.formats.quantities import (
    AIR_TEMPERATURE,
    DIRECTION,
    GUST,
    MEAN,
    WATER_TEMPERATURE,
    Quantity,
    decoded,
    from_degrees,
    in_believed_years,
    number,
    quoted,
)
from rentals.weather.formats.reading import Reading, Readings, Unreadable, gathered

CWIND_AVERAGING_S: Final = 600
"""Continuous winds are ten-minute means (from memory); of stdmet files the station's sheet tells."""

_TIME: Final = ("YY", "MM", "DD", "hh", "mm")
_MISSING: Final = "MM"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Column:
    field: str
    quantity: Quantity
    missing: float


_COLUMNS: Final[Mapping[str, _Column]] = {
    "WSPD": _Column(field="mean_ms", quantity=MEAN, missing=99),
    "GST": _Column(field="gust_ms", quantity=GUST, missing=99),
    "WDIR": _Column(field="from_deg", quantity=DIRECTION, missing=999),
    "ATMP": _Column(field="temperature_c", quantity=AIR_TEMPERATURE, missing=999),
    "WTMP": _Column(field="water_c", quantity=WATER_TEMPERATURE, missing=999),
}


def parse_stdmet(text: str | bytes, *, height_m: float) -> Readings:
    """Read a standard meteorological file; rows without a wind are skipped, their reason kept.

    Raises:
        Unreadable: without the two header lines, in an unknown unit, or when no row gives a wind.
    """
    return _read(decoded(text), height_m=height_m, averaging_s=None, notes=[])


def parse_cwind(text: str | bytes, *, height_m: float) -> Readings:
    """Read a continuous winds file; its gusts are those of the hour, told in one row of that hour.

    Raises:
        Unreadable: as `parse_stdmet`.
    """
    notes = ["gusts are the strongest of the hour before their reading"]
    return _read(decoded(text), height_m=height_m, averaging_s=CWIND_AVERAGING_S, notes=notes)


def header_names(text: str) -> tuple[str, ...]:
    """The column names of a buoy file, empty when the text is none."""
    first = next(iter(text.strip().splitlines()), "")
    names = tuple(first.lstrip("#").split())
    return names if names[: len(_TIME)] == _TIME and "WSPD" in names else ()


def _read(text: str, *, height_m: float, averaging_s: int | None, notes: list[str]) -> Readings:
    names = header_names(text)
    if not names:
        raise Unreadable(
            "The first line must name the columns: #YY MM DD hh mm WDIR WSPD and more; "
            "save the file as it was sent.",
            line=1,
        )
    numbered = ((at, line) for at, line in enumerate(re.split(r"\r\n|\r|\n", text), start=1) if line.strip())
    next(numbered)
    units = _units(names, next(numbered, (2, "")))
    rows: list[tuple[int, Reading]] = []
    skipped: list[tuple[int, str]] = []
    for at, line in numbered:
        try:
            cells = _cells(names, line)
            values = _values(cells, units)
            rows.append(
                (at, Reading(at=_moment(cells), height_m=height_m, averaging_s=averaging_s, **values))
            )
        except Unreadable as refusal:
            skipped.append((at, refusal.sentence.rstrip(".")))
    gustless = sum(reading.gust_ms is None for _, reading in rows)
    if gustless:
        notes = [*notes, f"{gustless} of {len(rows)} readings carry no gust"]
    return gathered(rows, skipped, notes)


def _units(names: tuple[str, ...], located: tuple[int, str]) -> Mapping[str, str]:
    """The unit of each column that is read, as the second header line states it."""
    line, text = located
    stated = text.lstrip("#").split()
    if not text.lstrip().startswith("#") or len(stated) != len(names):
        raise Unreadable(
            "The second line must state the unit of each column; save the file as it was sent.", line=line
        )
    units = {name: unit for name, unit in zip(names, stated, strict=True) if name in _COLUMNS}
    for name, unit in units.items():
        try:
            _COLUMNS[name].quantity.scale(unit)
        except Unreadable as refusal:
            raise Unreadable(refusal.sentence, line=line, field=name) from None
    return units


def _cells(names: tuple[str, ...], line: str) -> Mapping[str, str]:
    cells = line.split()
    if len(cells) != len(names):
        raise Unreadable(f"{len(cells)} values stand under {len(names)} column names")
    return dict(zip(names, cells, strict=True))


def _moment(cells: Mapping[str, str]) -> datetime:
    stamp = " ".join(cells[name] for name in _TIME)
    try:
        moment = datetime.strptime(stamp, "%Y %m %d %H %M").replace(tzinfo=UTC)
    except ValueError:
        raise Unreadable(f"{quoted(stamp)} is not a date and time") from None
    return in_believed_years(moment)


def _values(cells: Mapping[str, str], units: Mapping[str, str]) -> dict[str, float]:
    values: dict[str, float] = {}
    for name, unit in units.items():
        column = _COLUMNS[name]
        if cells[name] == _MISSING:
            continue
        value = number(cells[name], column.quantity.word)
        if value != column.missing:
            read = from_degrees if column.quantity is DIRECTION else column.quantity.read
            values[column.field] = read(value, unit)
    if "mean_ms" not in values:
        raise Unreadable("no wind was measured")
    if values.get("gust_ms", values["mean_ms"]) < values["mean_ms"]:
        raise Unreadable("the gust is below the mean wind")
    return values
