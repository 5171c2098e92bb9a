"""Calendars, read back by a strict reader of RFC 5545 and on a second library's clock across its changes."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz  # type: ignore[import-untyped]  # it ships no types
from hypothesis import given
from hypothesis import strategies as st

from rentals.lib.ical import Happening, Method, calendar
from rentals.lib.when import moment
from tests.rentals.lib.rfc5545 import read, unfolded

ZONE = ZoneInfo("Europe/Lisbon")
STAMP = datetime(2027, 3, 1, 8, tzinfo=UTC)


def happening(**values: object) -> Happening:
    usual = {
        "uid": "lesson-7@tarrow.invalid",
        "starts_at": datetime(2027, 3, 27, 10, tzinfo=ZONE),
        "ends_at": datetime(2027, 3, 27, 12, tzinfo=ZONE),
        "summary": "First steps",
        "changed_at": STAMP,
    }
    return Happening(**{**usual, **values})  # type: ignore[arg-type]  # a test names any field


CHANGES = [
    # day, wall clock, UTC; the European Union's clocks change at 01:00 UTC on the last Sundays of March and
    # October (Directive 2000/84/EC, articles 2 and 3); Lisbon is on UTC in winter.
    pytest.param(
        date(2027, 3, 27), "10:00", datetime(2027, 3, 27, 10, tzinfo=UTC), id="the day before spring"
    ),
    pytest.param(date(2027, 3, 28), "00:30", datetime(2027, 3, 28, 0, 30, tzinfo=UTC), id="before the gap"),
    pytest.param(date(2027, 3, 28), "02:00", datetime(2027, 3, 28, 1, 0, tzinfo=UTC), id="as the gap ends"),
    pytest.param(date(2027, 3, 28), "10:00", datetime(2027, 3, 28, 9, tzinfo=UTC), id="the day of spring"),
    pytest.param(
        date(2027, 10, 30), "10:00", datetime(2027, 10, 30, 9, tzinfo=UTC), id="the day before autumn"
    ),
    pytest.param(
        date(2027, 10, 31),
        "01:30 +01:00",
        datetime(2027, 10, 31, 0, 30, tzinfo=UTC),
        id="first half past one",
    ),
    pytest.param(
        date(2027, 10, 31),
        "01:30 +00:00",
        datetime(2027, 10, 31, 1, 30, tzinfo=UTC),
        id="second half past one",
    ),
    pytest.param(date(2027, 10, 31), "10:00", datetime(2027, 10, 31, 10, tzinfo=UTC), id="the day of autumn"),
]


@pytest.mark.parametrize(("day", "written", "utc"), CHANGES)
def test_it_names_the_moment_that_the_wall_showed(day: date, written: str, utc: datetime) -> None:
    start = moment(day, written, ZONE)

    event = read(calendar([happening(starts_at=start, ends_at=start + timedelta(hours=2))])).inside[0]

    assert event.moment("DTSTART") == utc
    # The same moment on the clock of another time zone library.
    shown = event.moment("DTSTART").astimezone(tz.gettz("Europe/Lisbon"))
    assert f"{shown:%Y-%m-%d %H:%M}" == f"{day} {written[:5]}"


def test_a_lesson_over_the_change_is_as_long_as_it_takes() -> None:
    """From half past midnight to half past two by the wall, the hour between left out: one hour."""
    start, end = moment(date(2027, 3, 28), "00:30", ZONE), moment(date(2027, 3, 28), "02:30", ZONE)

    event = read(calendar([happening(starts_at=start, ends_at=end)])).inside[0]

    assert event.moment("DTEND") - event.moment("DTSTART") == timedelta(hours=1)


def test_an_end_that_the_wall_shows_before_its_start_is_after_it_all_the_same() -> None:
    """From the first 01:45 to the second 01:15: half an hour by the sun."""
    day = date(2027, 10, 31)
    start, end = moment(day, "01:45 +01:00", ZONE), moment(day, "01:15 +00:00", ZONE)

    event = read(calendar([happening(starts_at=start, ends_at=end)])).inside[0]

    assert event.moment("DTEND") - event.moment("DTSTART") == timedelta(minutes=30)


@given(
    summary=st.text(st.characters(codec="utf-8"), max_size=200),
    description=st.text(st.characters(codec="utf-8"), max_size=400),
)
def test_any_text_comes_back_whole_within_the_grammar(summary: str, description: str) -> None:
    event = read(calendar([happening(summary=summary, description=description)])).inside[0]

    assert event.one("SUMMARY") == kept(summary)
    assert "".join(event.properties.get("DESCRIPTION", [])) == kept(description)


def kept(text: str) -> str:
    """Text with one kind of line end and without the control characters that no line may hold."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(char for char in lines if char in "\n\t" or (ord(char) >= 32 and ord(char) != 127))


def test_text_cannot_begin_a_property_of_its_own() -> None:
    stream = calendar([happening(summary="Hi\r\nATTENDEE:mailto:x@y.invalid", place="a,b;c\\n")])

    event = read(stream).inside[0]

    assert "ATTENDEE" not in event.properties
    assert event.one("LOCATION") == "a,b;c\\n"


def test_a_long_line_is_folded_between_characters() -> None:
    stream = calendar([happening(summary="Wëstwind über dem Strand – " * 12)])

    assert max(len(line) for line in stream.split(b"\r\n")) <= 75
    assert any("Wëstwind über dem Strand – " * 12 in line.replace("\\,", ",") for line in unfolded(stream))


def test_a_feed_has_no_method_and_says_its_name() -> None:
    found = read(calendar([happening()], name="Tarrow Lagoon"))

    assert "METHOD" not in found.properties
    assert found.one("NAME") == found.one("X-WR-CALNAME") == "Tarrow Lagoon"


def test_a_mail_says_who_sends_it_and_what_is_called_off() -> None:
    """RFC 5546, 3.2.5: ORGANIZER once, STATUS CANCELLED, the SEQUENCE raised."""
    off = happening(cancelled=True, sequence=3)

    found = read(calendar([off], method=Method.CANCEL, organizer_email="desk@tarrow.invalid"))

    (event,) = found.inside
    assert found.one("METHOD") == "CANCEL"
    assert event.one("ORGANIZER") == "mailto:desk@tarrow.invalid"
    assert (event.one("STATUS"), event.one("SEQUENCE")) == ("CANCELLED", "3")
    assert "ATTENDEE" not in event.properties


def test_a_calendar_without_events_is_whole_too() -> None:
    """A fresh feed: RFC 5545 asks for a component, but a 404 would say that it was revoked."""
    assert read(calendar([], name="Nobody's lessons")).inside == []


@pytest.mark.parametrize(
    "wrong",
    [
        {"starts_at": datetime(2027, 3, 27, 10)},  # noqa: DTZ001 - what is refused
        {"ends_at": datetime(2027, 3, 27, 10, tzinfo=ZONE)},
        {"changed_at": datetime(2027, 3, 1)},  # noqa: DTZ001 - what is refused
    ],
    ids=["a start without its zone", "an end at the start", "a change without its zone"],
)
def test_what_names_no_moment_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"needs? their zone|ends after"):
        calendar([happening(**wrong)])


def test_a_method_without_its_organizer_is_refused() -> None:
    with pytest.raises(ValueError, match="address of who sends it"):
        calendar([happening()], method=Method.PUBLISH)
