from datetime import UTC, datetime

import pytest

from rentals.weather.formats import ndbc
from rentals.weather.formats.reading import Reading, Unreadable
from tests.rentals.weather.samples import sample

STDMET = sample("ndbc_44013_stdmet.txt")
CWIND = sample("ndbc_TPLM2_cwind.txt")
NAMES, UNITS = STDMET.splitlines()[:2]
ROW = "2022 06 05 13 00 280  3.0  4.0    MM    MM    MM  MM 1015.2  15.1  13.9    MM   MM +1.6    MM"


def stdmet(*rows: str, names: str = NAMES, units: str = UNITS) -> str:
    return "\n".join([names, units, *rows]) + "\n"


class TestARealBuoy:
    """NOAA buoy 44013: the newest day of the file and all records without a wind; figures read off it."""

    readings = ndbc.parse_stdmet(STDMET, height_m=4.0)

    def test_it_reads_every_record_with_a_wind(self) -> None:
        assert len(self.readings.readings) == 144
        assert self.readings.notes == ()

    def test_it_skips_the_records_without_a_wind_with_their_lines(self) -> None:
        assert self.readings.skipped == tuple((line, "no wind was measured") for line in range(147, 162))

    def test_it_puts_the_oldest_first_though_the_file_does_not(self) -> None:
        assert self.readings.readings[0].at == datetime(2022, 6, 4, 13, 0, tzinfo=UTC)
        assert self.readings.readings[-1] == Reading(
            at=datetime(2022, 6, 5, 13, 0, tzinfo=UTC),
            mean_ms=3.0,
            gust_ms=4.0,
            from_deg=280,
            height_m=4.0,
            water_c=13.9,
        )

    def test_it_does_not_claim_an_averaging_time_that_the_file_does_not_state(self) -> None:
        assert {reading.averaging_s for reading in self.readings.readings} == {None}


class TestARealShoreStation:
    """NOAA station TPLM2, continuous winds: the newest day of the file."""

    readings = ndbc.parse_cwind(CWIND, height_m=18.0)

    def test_it_reads_ten_minute_means(self) -> None:
        last = self.readings.readings[-1]

        assert len(self.readings.readings) == 144
        assert last.at == datetime(2022, 6, 5, 13, 0, tzinfo=UTC)
        assert (last.mean_ms, last.gust_ms, last.from_deg, last.averaging_s) == (7.7, 11.8, 28, 600)

    def test_it_reads_a_gust_of_99_as_missing(self) -> None:
        second_last = self.readings.readings[-2]

        assert (second_last.mean_ms, second_last.gust_ms, second_last.from_deg) == (8.2, None, 31)
        assert self.readings.notes == (
            "gusts are the strongest of the hour before their reading",
            "120 of 144 readings carry no gust",
        )


def test_it_reads_air_and_water_temperature() -> None:
    (reading,) = ndbc.parse_stdmet(stdmet(ROW), height_m=4).readings

    assert (reading.temperature_c, reading.water_c) == (15.1, 13.9)


@pytest.mark.parametrize(
    ("was", "missing", "field"),
    [
        ("280", "999", "from_deg"),
        (" 4.0", "99.0", "gust_ms"),
        ("15.1", "999.0", "temperature_c"),
        ("13.9", "MM", "water_c"),
    ],
)
def test_it_reads_filler_as_missing(was: str, missing: str, field: str) -> None:
    (reading,) = ndbc.parse_stdmet(stdmet(ROW.replace(was, missing)), height_m=4).readings

    assert getattr(reading, field) is None


def test_it_reads_99_degrees_as_a_direction() -> None:
    assert ndbc.parse_stdmet(stdmet(ROW.replace("280", " 99")), height_m=4).readings[0].from_deg == 99


def test_it_converts_the_units_that_the_file_states() -> None:
    text = stdmet(ROW, units=UNITS.replace("m/s", "kts"))

    assert ndbc.parse_stdmet(text, height_m=4).readings[0].mean_ms == pytest.approx(3 * 1852 / 3600)


@pytest.mark.parametrize(
    ("row", "why"),
    [
        (ROW.replace(" 3.0", "99.0"), "no wind was measured"),
        (ROW.replace(" 3.0", " 5.0"), "the gust is below the mean wind"),
        (
            ROW.replace(" 3.0", "-3.0"),
            "The mean wind -3.0 m/s can't be right; it must be between 0 and 75 m/s",
        ),
        (ROW.replace(" 3.0", " nan"), "The mean wind 'nan' is not a number"),
        (ROW.replace("06 05", "02 30"), "'2022 02 30 13 00' is not a date and time"),
        (ROW.replace("2022", "0022"), "The year 22 can't be right; check the date"),
        (ROW[:-3], "18 values stand under 19 column names"),
    ],
)
def test_it_skips_a_bad_row_with_its_line_and_the_reason(row: str, why: str) -> None:
    readings = ndbc.parse_stdmet(stdmet(ROW.replace("13 00", "12 50"), row), height_m=4)

    assert len(readings.readings) == 1
    assert readings.skipped == ((4, why),)


def test_it_skips_a_repeated_time() -> None:
    assert ndbc.parse_stdmet(stdmet(ROW, ROW), height_m=4).skipped == ((4, "repeats the time of line 3"),)


@pytest.mark.parametrize(
    ("text", "line", "message"),
    [
        ("", 1, "The first line must name the columns"),
        (ROW, 1, "The first line must name the columns"),
        (NAMES, 2, "The second line must state the unit"),
        (f"{NAMES}\n{ROW}\n", 2, "The second line must state the unit"),
        (stdmet(ROW, units=UNITS.replace("m/s", "mis")), 2, "'mis' of the mean wind is not known here"),
        (stdmet(), None, "There is no reading in this file"),
        (stdmet(ROW.replace(" 3.0", "  MM")), 3, "No row could be read. The first: no wind was measured"),
        (STDMET[:200], 3, "No row could be read"),
    ],
    ids=["empty", "no header", "header only", "no units", "unknown unit", "no rows", "no wind", "truncated"],
)
def test_it_refuses_a_file_with_nothing_to_read(text: str, line: int | None, message: str) -> None:
    with pytest.raises(Unreadable, match=message) as refusal:
        ndbc.parse_stdmet(text, height_m=4)

    assert refusal.value.line == line
