"""When: wall-clock times as people write them, made aware; the zone's gaps and overlaps are refused."""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone
from typing import Final
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

LONGEST_WAIT: Final = timedelta(hours=12)
"""A check that waited longer on a device was not ticked on this day of work. Policy."""

_WRITTEN = re.compile(
    r"^\s*(?P<hour>\d{1,2})[:.h]?(?P<minute>\d{2})\s*(?P<offset>Z|[+-]\d{2}:?\d{2})?\s*$", re.IGNORECASE
)


class NotATime(ValueError):
    """What was entered names no moment, or two; the message says what to enter."""


def moment(day: date, written: str | time, zone: ZoneInfo) -> datetime:
    """Return the aware moment of a wall-clock time on a day in a zone.

    Args:
        day: calendar day at the station.
        written: `14:30`, `1430`, or with an offset where the clock shows it twice (`02:30 +01:00`).
        zone: the station's zone.

    Raises:
        NotATime: not a time; a time the clocks skip that night; or one they show twice.
    """
    if isinstance(written, time):
        written = f"{written:%H:%M}"
    match = _WRITTEN.match(written)
    if match is None or int(match["hour"]) > 23 or int(match["minute"]) > 59:
        raise NotATime(_("Enter a time such as 14:30."))
    naive = datetime.combine(day, time(int(match["hour"]), int(match["minute"])))
    candidates = _candidates(naive, zone)
    if not candidates:
        raise NotATime(
            f"The clocks skip {naive:%H:%M} on {naive:%-d %b %Y}. Enter a time before or after the change."
        )
    if match["offset"]:
        candidates = [c for c in candidates if c.utcoffset() == _offset(match["offset"])]
        if not candidates:
            raise NotATime(f"{naive:%H:%M} does not have that offset here. Leave the offset out.")
    if len(candidates) > 1:
        first, second = (f"{c:%H:%M} {_written_offset(c)}" for c in candidates)
        raise NotATime(f"The clocks show {naive:%H:%M} twice that night. Enter {first} or {second}.")
    return candidates[0]


def day_bounds(day: date, zone: ZoneInfo) -> tuple[datetime, datetime]:
    """Return the half-open span of a calendar day in a zone, 23 to 25 hours long."""
    start = datetime.combine(day, time(), zone)
    return start.astimezone(UTC), datetime.combine(day + timedelta(days=1), time(), zone).astimezone(UTC)


def is_aware(moment: datetime) -> bool:
    """Say whether a datetime knows its zone."""
    return moment.utcoffset() is not None


def _candidates(naive: datetime, zone: ZoneInfo) -> list[datetime]:
    """Return the moments at which the zone's clocks show a naive time: none in a gap, two in an overlap."""
    both = {naive.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1)}
    shown = [moment.astimezone(zone) for moment in sorted(both)]
    return [moment for moment in shown if moment.replace(tzinfo=None) == naive]


def _offset(written: str) -> timedelta:
    if written.upper() == "Z":
        return timedelta(0)
    hours, minutes = int(written[1:3]), int(written[-2:])
    return (-1 if written[0] == "-" else 1) * timedelta(hours=hours, minutes=minutes)


def _written_offset(moment: datetime) -> str:
    offset = moment.utcoffset() or timedelta(0)
    return str(timezone(offset)).removeprefix("UTC") or "+00:00"


@dataclass(frozen=True, slots=True)
class Arrival:
    """When something was ticked that a device kept until it was online: `at` is what counts."""

    at: datetime
    ticked_at: datetime | None
    wrong_clock: bool

    @classmethod
    def of(cls, waited_s: int | None, *, now: datetime) -> "Arrival":
        """Return when something was ticked that waited on a device, by the device's own clock.

        Where that clock was set meanwhile, it waited less than no time or longer than a check may: then the
        time it came counts.
        """
        if waited_s is None:
            return cls(now, None, wrong_clock=False)
        if not 0 <= waited_s <= LONGEST_WAIT.total_seconds():
            return cls(now, None, wrong_clock=True)
        ticked_at = now - timedelta(seconds=waited_s)
        return cls(ticked_at, ticked_at, wrong_clock=False)

    def words(self, zone: ZoneInfo) -> str:
        """Return what the journal adds: nothing for what came at once."""
        if self.wrong_clock:
            return " (kept on a device whose clock cannot be right: the time it came counts)"
        if self.ticked_at is None:
            return ""
        return f" (ticked {self.ticked_at.astimezone(zone):%H:%M} on a device without a connection)"
