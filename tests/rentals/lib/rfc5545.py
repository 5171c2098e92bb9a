"""A strict reader of iCalendar objects, written from RFC 5545 alone: it shares no code with what writes them.

Sections of the RFC stand beside what they ask for; what the grammar does not allow is an AssertionError.
"""

import re
from dataclasses import dataclass, field
from datetime import UTC, datetime

LINE_OCTETS = 75
"""3.1: lines SHOULD NOT be longer than 75 octets, excluding the line break."""

NAME = r"[A-Za-z0-9-]+"
QSAFE = r"[^\x00-\x08\x0a-\x1f\x7f\"]"
SAFE = r"[^\x00-\x08\x0a-\x1f\x7f\";:,]"
VALUE = rf"(?:\"{QSAFE}*\"|{SAFE}*)"
PARAM = rf";{NAME}={VALUE}(?:,{VALUE})*"
CONTENT_LINE = re.compile(
    rf"(?P<name>{NAME})(?P<params>(?:{PARAM})*):(?P<value>[^\x00-\x08\x0a-\x1f\x7f]*)\Z"
)
"""3.1: contentline = name *(";" param ) ":" value CRLF; no control characters but HTAB."""

UTC_TIME = re.compile(r"\d{8}T\d{6}Z\Z")
"""3.3.5, form 2."""

TEXT = {"SUMMARY", "DESCRIPTION", "LOCATION", "UID", "STATUS", "NAME", "X-WR-CALNAME", "PRODID", "METHOD"}
ONCE_IN_EVENT = ("UID", "DTSTAMP", "DTSTART")
"""3.6.1: required, and must not occur more than once."""
AT_MOST_ONCE_IN_EVENT = (
    "DTEND", "SUMMARY", "DESCRIPTION", "LOCATION", "STATUS", "SEQUENCE", "GEO", "LAST-MODIFIED", "ORGANIZER",
)  # fmt: skip
EVENT_STATUS = ("TENTATIVE", "CONFIRMED", "CANCELLED")
"""3.8.1.11."""


@dataclass
class Component:
    """A component: its properties by name, and the components inside."""

    name: str
    properties: dict[str, list[str]] = field(default_factory=dict)
    inside: list["Component"] = field(default_factory=list)

    def one(self, name: str) -> str:
        """The value of a property that is there once."""
        (value,) = self.properties[name]
        return value

    def moment(self, name: str) -> datetime:
        """A property as a moment in UTC."""
        value = self.one(name)
        assert UTC_TIME.match(value), value
        return datetime.strptime(value, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)


def read(stream: bytes) -> Component:
    """Read one iCalendar object, refusing whatever the RFC does."""
    lines = unfolded(stream)
    assert lines[0] == "BEGIN:VCALENDAR"
    calendar, rest = _component(lines)
    assert rest == []
    for name in ("PRODID", "VERSION"):
        assert len(calendar.properties.get(name, ())) == 1, f"3.6: {name} is required once"
    assert calendar.one("VERSION") == "2.0"
    for event in calendar.inside:
        _check_event(event)
    uids = [event.one("UID") for event in calendar.inside]
    assert len(uids) == len(set(uids)), "3.8.4.7: one event, one identifier"
    return calendar


def unfolded(stream: bytes) -> list[str]:
    """Lines without their folds (3.1)."""
    assert stream.endswith(b"\r\n")
    physical = stream[:-2].split(b"\r\n")
    for line in physical:
        assert b"\r" not in line
        assert b"\n" not in line
        assert len(line) <= LINE_OCTETS, f"{len(line)} octets: {line!r}"
        line.decode("utf-8")  # a fold inside a character would make two lines that are no UTF-8
    return stream[:-2].replace(b"\r\n ", b"").replace(b"\r\n\t", b"").decode("utf-8").split("\r\n")


def _component(lines: list[str]) -> tuple[Component, list[str]]:
    component = Component(lines[0].removeprefix("BEGIN:"))
    rest = lines[1:]
    while rest:
        if rest[0] == f"END:{component.name}":
            return component, rest[1:]
        if rest[0].startswith("BEGIN:"):
            inner, rest = _component(rest)
            component.inside.append(inner)
            continue
        line = CONTENT_LINE.match(rest[0])
        assert line, f"not a content line: {rest[0]!r}"
        value = _text(line["value"]) if line["name"] in TEXT else line["value"]
        component.properties.setdefault(line["name"], []).append(value)
        rest = rest[1:]
    raise AssertionError(f"{component.name} is not ended")


def _text(value: str) -> str:
    r"""3.3.11: TEXT; a backslash comes before \ ; , n or N only, and ; and , come with one only."""
    assert re.fullmatch(r"(?:[^\\;,]|\\[\\;,nN])*", value), f"not escaped: {value!r}"
    return re.sub(r"\\([\\;,nN])", lambda escape: "\n" if escape[1] in "nN" else escape[1], value)


def _check_event(event: Component) -> None:
    assert event.name == "VEVENT"
    assert event.inside == []
    for name in ONCE_IN_EVENT:
        assert len(event.properties.get(name, ())) == 1, f"3.6.1: {name} is required once"
    for name in AT_MOST_ONCE_IN_EVENT:
        assert len(event.properties.get(name, ())) <= 1, f"3.6.1: {name} at most once"
    event.moment("DTSTAMP")
    assert event.moment("DTEND") > event.moment("DTSTART"), "3.8.2.2: DTEND later than DTSTART"
    assert event.one("STATUS") in EVENT_STATUS
    assert re.fullmatch(r"\d+", event.one("SEQUENCE"))
    if "GEO" in event.properties:
        latitude, longitude = map(float, event.one("GEO").split(";"))
        assert -90 <= latitude <= 90
        assert -180 <= longitude <= 180
