"""Calendars as RFC 5545 wants them: events for a feed or a mail's attachment, with times in UTC.

A time in UTC means one moment whatever the clocks do; a local time with its zone could not say which of the
two hours is meant when the clocks go back.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum

from icalendar import Calendar, Event, vCalAddress

from rentals.lib.when import is_aware

PRODUCT = "-//Marram//Station calendar//EN"
MEDIA_TYPE = "text/calendar; charset=utf-8"


class Method(StrEnum):
    """What a calendar in a mail asks of the reader's calendar (RFC 5546, 3.2)."""

    PUBLISH = "PUBLISH"
    CANCEL = "CANCEL"


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening:
    """One event. The same `uid` with a higher `sequence` replaces what a calendar has of it.

    `uid` must never change and never be used for another event; `changed_at` is when its facts were last set.
    """

    uid: str
    starts_at: datetime
    ends_at: datetime
    summary: str
    changed_at: datetime
    description: str = ""
    place: str = ""
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    sequence: int = 0
    cancelled: bool = False


def calendar(
    happenings: Iterable[Happening],
    *,
    name: str = "",
    method: Method | None = None,
    organizer_email: str = "",
) -> bytes:
    """Return a calendar: lines of at most 75 octets ended by CR LF, in UTF-8.

    Args:
        happenings: its events, in the order in which they are written.
        name: how a reader's program may call the calendar.
        method: for a mail's attachment; a feed has none.
        organizer_email: who sends it; needed with a method (RFC 5546, 3.2.1).

    Raises:
        ValueError: a time without its zone, an end not after its start, or a method without an organizer.
    """
    if method and not organizer_email:
        raise ValueError("A calendar that is sent needs the address of who sends it.")
    made = Calendar()
    made.add("prodid", PRODUCT)
    made.add("version", "2.0")
    if method:
        made.add("method", method.value)
    if name:
        # RFC 7986, 5.1; the older name beside it is what many programs read.
        made.add("name", _plain(name))
        made.add("x-wr-calname", _plain(name))
    for happening in happenings:
        made.add_component(_event(happening, organizer_email))
    return bytes(made.to_ical())


def _event(happening: Happening, organizer_email: str) -> Event:
    if not (is_aware(happening.starts_at) and is_aware(happening.ends_at) and is_aware(happening.changed_at)):
        raise ValueError("An event's times need their zone.")
    start, end = happening.starts_at.astimezone(UTC), happening.ends_at.astimezone(UTC)
    if end <= start:
        raise ValueError("An event ends after it starts.")
    event = Event()
    event.add("uid", _plain(happening.uid))
    event.add("dtstamp", happening.changed_at.astimezone(UTC))
    event.add("last-modified", happening.changed_at.astimezone(UTC))
    event.add("sequence", happening.sequence)
    event.add("dtstart", start)
    event.add("dtend", end)
    event.add("summary", _plain(happening.summary))
    event.add("status", "CANCELLED" if happening.cancelled else "CONFIRMED")
    if happening.description:
        event.add("description", _plain(happening.description))
    if happening.place:
        event.add("location", _plain(happening.place))
    if happening.latitude_deg is not None and happening.longitude_deg is not None:
        event.add("geo", (happening.latitude_deg, happening.longitude_deg))
    if organizer_email:
        event.add("organizer", vCalAddress(f"mailto:{organizer_email}"))
    return event


def _plain(text: str) -> str:
    """Return text without the control characters that no line may hold (RFC 5545, 3.1: CONTROL)."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(char for char in lines if char in "\n\t" or not (ord(char) < 32 or ord(char) == 127))
