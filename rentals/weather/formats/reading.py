"""What readers of files hand on: forecast hours and measured winds in SI units, and a plain refusal."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime


class Unreadable(ValueError):
    """A file that can't be used: a plain sentence with what to do, and the line or field it is about."""

    def __init__(self, sentence: str, *, line: int | None = None, field: str | None = None) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.line = line
        self.field = field

    def __str__(self) -> str:
        if self.line is not None:
            return f"Line {self.line}: {self.sentence}"
        return f"{self.field}: {self.sentence}" if self.field else self.sentence

    def within(self, field: str) -> "Unreadable":
        """The same refusal, said of the field where it arose."""
        return Unreadable(self.sentence, field=field)


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastHour:
    """The wind of one step from `starts_at` (aware, UTC) on; 10 m above the ground, as forecasts speak.

    `mean_ms` and `gust_ms` in m/s with gust >= mean; `from_deg` in [0, 360), None when variable or calm;
    `relative_humidity` in [0, 1]. None means that the source does not say.
    """

    starts_at: datetime
    minutes: int
    mean_ms: float
    gust_ms: float | None = None
    from_deg: float | None = None
    temperature_c: float | None = None
    pressure_hpa: float | None = None
    relative_humidity: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """Steps in order of time that never overlap; `notes` say in plain words what the source left out."""

    issued_at: datetime | None
    hours: tuple[ForecastHour, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One measured wind at `at` (aware, UTC), `height_m` above the ground or the water.

    `averaging_s` is the time that `mean_ms` is averaged over, None when the source does not say.
    """

    at: datetime
    mean_ms: float
    height_m: float
    gust_ms: float | None = None
    from_deg: float | None = None
    averaging_s: int | None = None
    temperature_c: float | None = None
    water_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Readings in order of time; `skipped` holds the line number and the reason of every row left out."""

    readings: tuple[Reading, ...]
    notes: tuple[str, ...] = ()
    skipped: tuple[tuple[int, str], ...] = ()


def gust_notes(hours: Sequence[ForecastHour]) -> list[str]:
    """The note that a forecast without some or all of its gusts must carry; empty when all are there."""
    gustless = sum(hour.gust_ms is None for hour in hours)
    if not gustless:
        return []
    return [
        "no step carries a gust"
        if gustless == len(hours)
        else f"{gustless} of {len(hours)} steps carry no gust"
    ]


Row = tuple[int, Reading]
Skip = tuple[int, str]


def gathered(rows: Iterable[Row], skipped: Iterable[Skip], notes: Iterable[str] = ()) -> Readings:
    """Put rows in order of time and set aside those that repeat a time.

    Raises:
        Unreadable: when no row is left.
    """
    first_line: dict[datetime, int] = {}
    kept: list[Reading] = []
    left_out = list(skipped)
    for line, reading in rows:
        first = first_line.setdefault(reading.at, line)
        if first == line:
            kept.append(reading)
        else:
            left_out.append((line, f"repeats the time of line {first}"))
    return finished(kept, left_out, notes)


def finished(kept: Iterable[Reading], skipped: Iterable[Skip], notes: Iterable[str] = ()) -> Readings:
    """Readings in order of time.

    Raises:
        Unreadable: when there is no reading.
    """
    left_out = tuple(sorted(skipped))
    readings = tuple(sorted(kept, key=lambda reading: reading.at))
    if not readings:
        raise _nothing_left(left_out)
    return Readings(readings=readings, notes=tuple(notes), skipped=left_out)


def _nothing_left(skipped: tuple[Skip, ...]) -> Unreadable:
    if not skipped:
        return Unreadable("There is no reading in this file; check that the whole file was sent.")
    line, why = skipped[0]
    others = f" ({len(skipped)} rows were refused)" if len(skipped) > 1 else ""
    return Unreadable(f"No row could be read{others}. The first: {why}.", line=line)
