from datetime import UTC, datetime
from typing import get_args
from zoneinfo import ZoneInfo

import pytest

from rentals.weather.formats import anemometer
from rentals.weather.formats.anemometer import SpeedUnit
from rentals.weather.formats.reading import Reading, Readings, Unreadable

ZONE = ZoneInfo("Europe/Lisbon")
PLAIN = """time,mean,gust,direction
2026-07-01 14:00,6.2,8.9,280
2026-07-01 14:10,6.6,9.4,285
"""


def read(text: str | bytes, unit: SpeedUnit = "ms", zone: ZoneInfo = ZONE) -> Readings:
    return anemometer.parse_csv(text, zone=zone, unit=unit, height_m=4.0)


def row(cells: str, header: str = "time,mean,gust,direction") -> Reading:
    (reading,) = read(f"{header}\n{cells}\n").readings
    return reading


def why_skipped(cells: str, zone: ZoneInfo = ZONE) -> str:
    """Why a row is skipped that stands in line 3, after a good one."""
    readings = read(f"time,mean,gust,direction\n2026-07-01 14:00Z,6,8,280\n{cells}\n", zone=zone)
    assert len(readings.readings) == 1
    ((line, why),) = readings.skipped
    assert line == 3
    return why


def test_it_reads_rows_as_readings_at_the_height_of_the_instrument() -> None:
    readings = read(PLAIN)

    assert readings.readings == (
        Reading(
            at=datetime(2026, 7, 1, 13, 0, tzinfo=UTC), mean_ms=6.2, gust_ms=8.9, from_deg=280, height_m=4
        ),
        Reading(
            at=datetime(2026, 7, 1, 13, 10, tzinfo=UTC), mean_ms=6.6, gust_ms=9.4, from_deg=285, height_m=4
        ),
    )
    assert (readings.notes, readings.skipped) == ((), ())


@pytest.mark.parametrize(
    "text",
    [
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace("\n", "\r"),
        "\ufeff" + PLAIN,
        "\n# beach mast, north end\n\n" + PLAIN,
        PLAIN.replace(",", ";"),
        PLAIN.replace(",", ";").replace(".", ","),
        PLAIN.replace(",", " , "),
        PLAIN.replace("time,mean,gust,direction", "Timestamp,Wind Speed,Wind Gust,Wind Dir"),
        PLAIN.replace("time,mean,gust,direction", "date_time,avg_speed (m/s),max [m/s],direction (°)"),
        PLAIN.replace("2026-07-01 ", "01.07.2026 "),
        PLAIN.replace("2026-07-01 ", "2026-07-01T"),
        PLAIN.replace("2026-07-01 ", "2026-07-01,").replace("time,", "date,time,"),
        PLAIN.replace(":00,", ":00:00,").replace(":10,", ":10:00.000,"),
        PLAIN.replace(":00,", ":00+01:00,").replace(":10,", ":10+0100,"),
        PLAIN.replace("280", "280°"),
    ],
    ids=[
        "CRLF",
        "CR",
        "byte order mark",
        "comments",
        "semicolons",
        "decimal commas",
        "blanks",
        "other words",
        "units in the header",
        "day first with dots",
        "ISO with T",
        "date and time apart",
        "seconds",
        "offsets",
        "degree sign",
    ],
)
def test_it_reads_the_same_in_each_common_layout(text: str) -> None:
    assert read(text).readings == read(PLAIN).readings


def test_it_reads_times_as_utc_where_the_header_says_so() -> None:
    readings = read(PLAIN.replace("time,", "time (UTC),"))

    assert readings.readings[0].at == datetime(2026, 7, 1, 14, 0, tzinfo=UTC)
    assert "times are in UTC, as the header says" in readings.notes


@pytest.mark.parametrize(("unit", "ms"), [("ms", 10), ("kn", 10 * 1852 / 3600), ("kmh", 10 / 3.6)])
def test_it_converts_the_declared_unit(unit: SpeedUnit, ms: float) -> None:
    """Factors exact by definition of the knot (1929) and of the kilometre an hour."""
    (reading,) = read("time,mean,gust\n2026-07-01 14:00,10,10\n", unit).readings

    assert reading.mean_ms == reading.gust_ms == pytest.approx(ms)


@pytest.mark.parametrize(
    ("header", "unit"),
    [
        ("time,mean (kn),gust", "ms"),
        ("time,wind_speed_kmh", "kn"),
        ("time,mean [m/s]", "kmh"),
        ("time,mean mph", "kn"),
    ],
)
def test_it_refuses_a_header_that_states_another_unit(header: str, unit: SpeedUnit) -> None:
    with pytest.raises(Unreadable, match="choose its unit") as refusal:
        read(f"{header}\n2026-07-01 14:00,10\n", unit)

    assert (refusal.value.line, refusal.value.field) == (1, "unit")


def test_it_takes_every_unit_it_offers() -> None:
    assert [len(read(PLAIN, unit).readings) for unit in get_args(SpeedUnit)] == [2, 2, 2]


def test_it_puts_rows_in_order_of_time() -> None:
    header, one, two = PLAIN.splitlines()

    assert read("\n".join([header, two, one])).readings == read(PLAIN).readings


def test_it_reads_rows_without_gust_or_direction_and_says_how_many_lack_a_gust() -> None:
    readings = read("time,mean,gust,direction\n2026-07-01 14:00,6,,\n2026-07-01 14:10,6,8,---\n")

    assert [(reading.gust_ms, reading.from_deg) for reading in readings.readings] == [(None, None), (8, None)]
    assert readings.notes == ("1 of 2 readings carry no gust",)


def test_it_names_the_columns_it_does_not_use() -> None:
    readings = read("time,mean,gust,battery\n2026-07-01 14:00,6,8,12.6\n")

    assert readings.notes == ("columns not used: 'battery'",)


@pytest.mark.parametrize(("cell", "deg"), [("N", 0), ("nne", 22.5), ("SW", 225), ("NNW", 337.5), ("360", 0)])
def test_it_reads_directions_in_degrees_and_compass_points(cell: str, deg: float) -> None:
    """16 points of 22.5 degrees, clockwise from north: common practice, no source."""
    assert row(f"2026-07-01 14:00,6,8,{cell}").from_deg == deg


def test_it_reads_variable_wind_as_no_direction() -> None:
    assert row("2026-07-01 14:00,6,8,VRB").from_deg is None


class TestClockChanges:
    """Lisbon 2026: 01:00 becomes 02:00 on 29 March, 02:00 becomes 01:00 on 25 October (2000/84/EC)."""

    @pytest.mark.parametrize("clock", ["01:00", "01:30", "01:59"])
    def test_it_skips_a_time_that_the_clock_skipped(self, clock: str) -> None:
        assert why_skipped(f"2026-03-29 {clock},6,8,280") == (
            f"the clock skipped 2026-03-29 {clock} when summer time began"
        )

    @pytest.mark.parametrize("clock", ["01:00", "01:30", "01:59"])
    def test_it_skips_a_time_that_the_clock_showed_twice(self, clock: str) -> None:
        assert why_skipped(f"2026-10-25 {clock},6,8,280") == (
            f"the clock showed 2026-10-25 {clock} twice; write it with its offset, such as +01:00"
        )

    @pytest.mark.parametrize(("offset", "hour"), [("+01:00", 0), ("+00:00", 1), ("Z", 1)])
    def test_it_reads_such_a_time_when_it_carries_its_offset(self, offset: str, hour: int) -> None:
        assert row(f"2026-10-25 01:30{offset},6,8,280").at == datetime(2026, 10, 25, hour, 30, tzinfo=UTC)

    @pytest.mark.parametrize(
        ("local", "utc_hour"),
        [("2026-03-29 00:59", 0), ("2026-03-29 02:00", 1), ("2026-10-25 00:59", 23), ("2026-10-25 02:00", 2)],
    )
    def test_it_reads_the_times_on_either_side(self, local: str, utc_hour: int) -> None:
        assert row(f"{local},6,8,280").at.hour == utc_hour

    def test_it_knows_a_gap_of_half_an_hour(self) -> None:
        """Lord Howe Island skips 02:00 to 02:30 on 2026-10-04 (IANA time zone database)."""
        zone = ZoneInfo("Australia/Lord_Howe")

        assert "the clock skipped" in why_skipped("2026-10-04 02:15,6,8,280", zone)


@pytest.mark.parametrize(
    ("cells", "why"),
    [
        ("2026-07-01 14:20,,8,280", "the row has no mean wind"),
        ("2026-07-01 14:20,six,8,280", "The mean wind 'six' is not a number"),
        ("2026-07-01 14:20,NaN,8,280", "The mean wind 'NaN' is not a number"),
        (
            "2026-07-01 14:20,-6,8,280",
            "The mean wind -6.0 m/s can't be right; it must be between 0 and 75 m/s",
        ),
        ("2026-07-01 14:20,6,800,280", "The gust 800.0 m/s can't be right; it must be between 0 and 110 m/s"),
        ("2026-07-01 14:20,6,4,280", "the gust 4 is below the mean wind 6"),
        (
            "2026-07-01 14:20,6,8,370",
            "The wind direction 370.0 degrees can't be right; it must be between 0 and 360 degrees",
        ),
        ("2026-07-01 14:20,6,8,WEST", "The wind direction 'WEST' is not a number"),
        ("2026-07-01 14:20,6,8", "the row has 3 values, the header names 4"),
        ("2026-07-01 14:20,6,2,8,9,280", "the row has 6 values, the header names 4"),
        ("2026-07-01,6,8,280", "'2026-07-01' is not a time such as 2026-07-01 14:30"),
        ("07/01/2026 14:20,6,8,280", "'07/01/2026 14:20' is not a time such as 2026-07-01 14:30"),
        ("2026-02-30 14:20,6,8,280", "there is no such time as '2026-02-30 14:20'"),
        ("2026-07-01 24:20,6,8,280", "there is no such time as '2026-07-01 24:20'"),
        ("0001-01-01 00:00,6,8,280", "The year 1 can't be right; check the date"),
        ("9999-12-31 23:59,6,8,280", "The year 9999 can't be right; check the date"),
        pytest.param("x" * 200_000, "this row is not separated values", id="endless"),
        ("2026-07-01 14:00Z,7,9,280", "repeats the time of line 2"),
    ],
)
def test_it_skips_a_bad_row_with_its_line_and_the_reason(cells: str, why: str) -> None:
    assert why_skipped(cells) == why


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("", 1, "The first line must name the columns"),
        ("2026-07-01 14:00,6,8,280\n", 1, "The first line must name the columns"),
        ("time,gust\n2026-07-01 14:00,8\n", 1, "The first line must name the columns"),
        ("time,mean,wind speed\n2026-07-01 14:00,8,9\n", 1, "Two columns hold the mean"),
        ("time,mean\n", None, "There is no reading in this file"),
        (
            "time,mean\n\n# no rows\nyesterday,6\ntoday,7\n",
            4,
            r"No row could be read \(2 rows were refused\)",
        ),
        ("time,mean\n2026-07-01 14:00,3,4\n", 2, "No row could be read. The first: the row has 3 values"),
    ],
    ids=[
        "empty",
        "no header",
        "no mean",
        "two means",
        "no rows",
        "no good row",
        "decimal commas among commas",
    ],
)
def test_it_refuses_a_file_with_nothing_to_read(text: str, line: int | None, message: str) -> None:
    with pytest.raises(Unreadable, match=message) as refusal:
        read(text)

    assert refusal.value.line == line


def test_it_refuses_bytes_of_another_encoding() -> None:
    with pytest.raises(Unreadable, match="UTF-8"):
        read("time,mean (°)\n".encode("latin-1"))
