"""Wall-clock times made aware: what the clocks skip or show twice is refused, everything else is one moment.

The changes of the clocks are those of the IANA time zone database, as published: Lisbon skips 01:00-02:00 on
28 March 2027 and shows it twice on 31 October 2027 (Directive 2000/84/EC: last Sundays of March and October,
01:00 UTC); Lord Howe Island moves by half an hour (tzdata, `australasia`).
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rentals.lib.when import NotATime, day_bounds, is_aware, moment

LISBON = ZoneInfo("Europe/Lisbon")
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")
ZONES = ["Europe/Lisbon", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu", "Pacific/Apia", "UTC"]
SPRING, SUMMER, AUTUMN = date(2027, 3, 28), date(2027, 7, 14), date(2027, 10, 31)


@pytest.mark.parametrize(
    "written", ["14:30", "1430", "14.30", "14h30", " 14:30 ", "14:30 +01:00", "14:30+0100", time(14, 30)]
)
def test_it_reads_a_time_as_people_write_it(written: str | time) -> None:
    assert moment(SUMMER, written, LISBON) == datetime(2027, 7, 14, 13, 30, tzinfo=UTC)


def test_it_reads_a_single_digit_hour() -> None:
    assert moment(SUMMER, "9:05", LISBON) == datetime(2027, 7, 14, 8, 5, tzinfo=UTC)


@pytest.mark.parametrize(
    "written", ["", "noon", "24:00", "12:60", "12:5", "-1:00", "1:2:3", "12:00 CET", "٣:٠٠x", "12:00 +1"]
)
def test_it_says_how_to_write_what_is_no_time(written: str) -> None:
    with pytest.raises(NotATime, match=r"such as 14:30"):
        moment(SUMMER, written, LISBON)


@pytest.mark.parametrize(
    ("zone", "day", "written"),
    [
        pytest.param(LISBON, SPRING, "01:00", id="first minute"),
        pytest.param(LISBON, SPRING, "01:59", id="last minute"),
        pytest.param(LISBON, SPRING, "01:30 +01:00", id="an offset does not help"),
        pytest.param(LORD_HOWE, date(2027, 10, 3), "02:15", id="half an hour"),
    ],
)
def test_it_refuses_a_time_that_the_clocks_skip(zone: ZoneInfo, day: date, written: str) -> None:
    with pytest.raises(NotATime, match="clocks skip"):
        moment(day, written, zone)


@pytest.mark.parametrize(
    ("written", "in_utc"), [("00:59", time(0, 59)), ("02:00", time(1, 0))], ids=["before", "after"]
)
def test_it_takes_the_minutes_beside_the_gap(written: str, in_utc: time) -> None:
    assert moment(SPRING, written, LISBON) == datetime.combine(SPRING, in_utc, UTC)


def test_it_refuses_a_time_shown_twice_and_names_both() -> None:
    with pytest.raises(NotATime, match=r"twice that night. Enter 01:30 \+01:00 or 01:30 \+00:00"):
        moment(AUTUMN, "01:30", LISBON)


@pytest.mark.parametrize(
    ("written", "in_utc"),
    [("01:30 +01:00", time(0, 30)), ("01:30 +00:00", time(1, 30)), ("01:30Z", time(1, 30))],
)
def test_it_takes_a_time_shown_twice_with_its_offset(written: str, in_utc: time) -> None:
    found = moment(AUTUMN, written, LISBON)

    assert found.astimezone(UTC) == datetime.combine(AUTUMN, in_utc, UTC)


@pytest.mark.parametrize(
    "written",
    ["01:30 +02:00", "14:30 +05:00", "14:30 -01:00"],
    ids=["at the change", "far off", "wrong side"],
)
def test_it_refuses_an_offset_that_the_clocks_do_not_have_then(written: str) -> None:
    with pytest.raises(NotATime, match="does not have that offset"):
        moment(AUTUMN, written, LISBON)


@pytest.mark.parametrize(
    ("day", "hours"), [(SPRING, 23), (SUMMER, 24), (AUTUMN, 25)], ids=["spring", "summer", "autumn"]
)
def test_a_day_is_as_long_as_the_clocks_make_it(day: date, hours: int) -> None:
    start, end = day_bounds(day, LISBON)

    assert end - start == timedelta(hours=hours)
    assert start.astimezone(LISBON).time() == end.astimezone(LISBON).time() == time(0)


def test_it_tells_an_aware_time_from_a_naive_one() -> None:
    assert is_aware(datetime(2027, 7, 14, tzinfo=LISBON))
    assert not is_aware(datetime(2027, 7, 14))  # noqa: DTZ001 - the naive time is the point


@given(
    at=st.datetimes(datetime(1990, 1, 1), datetime(2037, 12, 31), timezones=st.just(UTC)),  # noqa: DTZ001
    zone=st.sampled_from(ZONES).map(ZoneInfo),
)
def test_every_moment_shown_with_its_offset_reads_back_as_itself(at: datetime, zone: ZoneInfo) -> None:
    shown = at.replace(second=0, microsecond=0).astimezone(zone)

    read = moment(shown.date(), f"{shown:%H:%M} {shown:%z}", zone)

    assert read.astimezone(UTC) == shown.astimezone(UTC)


@given(
    day=st.dates(date(1990, 1, 1), date(2037, 12, 31)),
    at=st.times(),
    zone=st.sampled_from(ZONES).map(ZoneInfo),
)
def test_what_it_returns_shows_what_was_written(day: date, at: time, zone: ZoneInfo) -> None:
    try:
        found = moment(day, at, zone)
    except NotATime:
        naive = datetime.combine(day, at.replace(second=0, microsecond=0))
        assert (
            naive.replace(tzinfo=zone, fold=0).utcoffset() != naive.replace(tzinfo=zone, fold=1).utcoffset()
        )
    else:
        assert (found.date(), f"{found:%H:%M}") == (day, f"{at:%H:%M}")
