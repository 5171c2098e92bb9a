"""Aviation bulletins cut into reports, their wind groups checked, their days given a month and a year.

A METAR or TAF states a day of the month and a time in UTC, no month and no year (WMO-No. 306,
FM 15 and FM 51).
"""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any, Final

from rentals.weather.formats.quantities import GUST, MEAN, from_degrees, quoted
from rentals.weather.formats.reading import Unreadable

_OPENINGS: Final = frozenset({"METAR", "SPECI", "TAF"})
_HEAD: Final = _OPENINGS | {"AMD", "COR"}
_STATION: Final = re.compile(r"[A-Z][A-Z0-9]{3}", re.ASCII)
_ISSUED: Final = re.compile(r"\d{6}Z", re.ASCII)
_VALIDITY: Final = re.compile(r"\d{4}/\d{4}", re.ASCII)
_WIND: Final = re.compile(r"(?!WS)\S*[\d/](KT|MPS|KMH|KM/H)", re.ASCII)
_UNITS: Final = {"KT": "kt", "MPS": "mps"}
_SLACK: Final = timedelta(days=1)
"""A report may be dated this far past the reference, so that midnight of a date serves as its reference."""


@dataclass(frozen=True, slots=True)
class Wind:
    """A wind group in m/s; `from_deg` None when variable or calm."""

    mean_ms: float
    gust_ms: float | None
    from_deg: float | None
    group: str

    @property
    def peak_ms(self) -> float:
        """The strongest wind that the group speaks of."""
        return self.mean_ms if self.gust_ms is None else self.gust_ms


@dataclass(frozen=True, slots=True)
class Report:
    """One report without its opening words; `line` is where it starts, counted from 1."""

    line: int
    opening: str | None
    words: tuple[str, ...]

    @property
    def station(self) -> str:
        return self.words[0] if self.words else ""

    @property
    def is_dated(self) -> bool:
        """Whether station and issue time stand where they belong."""
        return len(self.words) > 1 and bool(
            _STATION.fullmatch(self.words[0]) and _ISSUED.fullmatch(self.words[1])
        )

    @property
    def is_taf(self) -> bool:
        return self.opening == "TAF" or any(_VALIDITY.fullmatch(word) for word in self.words[1:3])

    @property
    def body(self) -> tuple[str, ...]:
        """The words up to the remarks."""
        return self.words[: self.words.index("RMK")] if "RMK" in self.words else self.words


def reports(text: str) -> list[Report]:
    """Cut text into reports: at `=`, at METAR, SPECI or TAF, and at a station with an issue time.

    Lines that start with # are comments.
    """
    words = [
        (at, word)
        for at, line in enumerate(re.split(r"\r\n|\r|\n", text.upper()), start=1)
        if not line.lstrip().startswith("#")
        for word in line.replace("=", " = ").split()
    ]
    found: list[list[tuple[int, str]]] = [[]]
    for (at, word), (_, following) in pairwise([*words, (0, "")]):
        if word == "=":
            found.append([])
            continue
        opens = word in _OPENINGS or (_STATION.fullmatch(word) and _ISSUED.fullmatch(following))
        if opens and any(earlier not in _HEAD for _, earlier in found[-1]):
            found.append([])
        found[-1].append((at, word))
    return [_report(located) for located in found if located]


def _report(located: list[tuple[int, str]]) -> Report:
    words = [word for _, word in located]
    start = next((at for at, word in enumerate(words) if word not in _HEAD), len(words))
    opening = next((word for word in words[:start] if word in _OPENINGS), None)
    return Report(located[0][0], opening, tuple(words[start:]))


def parsed(parse: Callable[[str], Any], words: Iterable[str]) -> Any:
    """What the library makes of a report.

    Raises:
        Unreadable: whenever the library fails.
    """
    try:
        result = parse(" ".join(words))
    except Exception:  # the library lets whatever its groups trip over escape: index, key, type, value errors
        result = None
    if result is None:
        raise Unreadable("This report is not in the form of its code; check that it was copied whole.")
    return result


def wind(found: Any) -> Wind | None:
    """The wind of a report or a change group as the library read it, None where there is none.

    Raises:
        Unreadable: for a wind that can't be believed.
    """
    if found is None:
        return None
    unit = _UNITS.get(found.unit)
    group = _group(found)
    if unit is None:
        raise Unreadable(f"The wind group {group} is in a unit not known here; KT and MPS are.")
    mean = MEAN.read(found.speed, unit)
    gust = None if found.gust is None else GUST.read(found.gust, unit)
    if gust is not None and gust < mean:
        raise Unreadable(f"The wind group {group} has a gust below its mean.")
    calm_or_variable = found.degrees is None or (found.degrees == 0 and mean == 0)
    return Wind(mean, gust, None if calm_or_variable else from_degrees(found.degrees), group)


def _group(found: Any) -> str:
    direction = "VRB" if found.degrees is None else f"{found.degrees:03d}"
    gust = "" if found.gust is None else f"G{found.gust:02d}"
    return f"{direction}{found.speed:02d}{gust}{found.unit}"


def check_winds(words: Iterable[str], winds: Iterable[Any]) -> None:
    """Make sure that the library took each wind group as it stands, for it reads 270100KT as 10 kn.

    Raises:
        Unreadable: naming the group that was read otherwise or not at all.
    """
    read = [_group(found) for found in winds if found is not None]
    for word in words:
        if not _WIND.fullmatch(word) or word.startswith("/"):
            continue
        if word not in read:
            raise Unreadable(f"The wind group {quoted(word)} can't be read; enter this report by hand.")
        read.remove(word)
    if read:
        raise Unreadable(f"The wind group {read[0]} is not written out in the report; enter it by hand.")


def last_moment(day: int, hour: int, minute: int, reference: datetime) -> datetime:
    """The latest moment of that day, hour and minute no later than a day after the reference.

    Raises:
        Unreadable: when there is no such day or time.
    """
    limit = reference + _SLACK
    past = [moment for moment in _candidates(day, hour, minute, reference) if moment <= limit]
    return max(past)


def next_moment(day: int, hour: int, minute: int, since: datetime) -> datetime:
    """The first moment of that day, hour and minute at or after `since`; hour 24 ends the day.

    Raises:
        Unreadable: when there is no such day or time.
    """
    return min(moment for moment in _candidates(day, hour, minute, since) if moment >= since)


def _candidates(day: int, hour: int, minute: int, around: datetime) -> list[datetime]:
    """That day and time in each month that has it, from two before to two after: some lie on either side."""
    ends_day = hour == 24 and minute == 0
    moments = []
    for ahead in (-2, -1, 0, 1, 2):
        year, month = divmod(around.year * 12 + around.month - 1 + ahead, 12)
        try:
            moment = datetime(year, month + 1, day, 0 if ends_day else hour, minute, tzinfo=UTC)
        except ValueError:
            continue
        moments.append(moment + timedelta(days=ends_day))
    if not moments:
        raise Unreadable(f"There is no day {day:02d} with a time {hour:02d}:{minute:02d}.")
    return moments
