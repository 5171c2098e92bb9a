import json
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest

from rentals.weather.formats import locationforecast
from rentals.weather.formats.reading import ForecastHour, Unreadable
from tests.rentals.weather.samples import sample

COMPACT = sample("locationforecast_compact.json")
UNITS = {
    "wind_speed": "m/s",
    "wind_speed_of_gust": "m/s",
    "wind_from_direction": "degrees",
    "air_temperature": "celsius",
    "air_pressure_at_sea_level": "hPa",
    "relative_humidity": "%",
}


def entry(hour: int, *, block: int | None = 1, **details: object) -> dict[str, Any]:
    data: dict[str, Any] = {"instant": {"details": {"wind_speed": 6.0, **details}}}
    if block is not None:
        data[f"next_{block}_hours"] = {"summary": {"symbol_code": "fair_day"}}
    return {"time": f"2026-07-0{1 + hour // 24}T{hour % 24:02d}:00:00Z", "data": data}


def feature(*entries: dict[str, Any], units: dict[str, Any] | None = None) -> str:
    meta = {"updated_at": "2026-07-01T04:12:00Z", "units": UNITS | (units or {})}
    return json.dumps({"type": "Feature", "properties": {"meta": meta, "timeseries": entries}})


def starts(*hours: int) -> list[datetime]:
    return [datetime(2026, 7, 1, tzinfo=UTC) + timedelta(hours=hour) for hour in hours]


class TestARealForecast:
    """MET Norway's answer of 2020-07-20 for 40.7 N 74.0 W: 82 entries, the figures read off the file."""

    forecast = locationforecast.parse(COMPACT)

    def test_it_tells_when_it_was_issued(self) -> None:
        assert self.forecast.issued_at == datetime(2020, 7, 20, 1, 30, 57, tzinfo=UTC)

    def test_it_keeps_every_entry_but_the_last_which_has_no_length(self) -> None:
        assert len(self.forecast.hours) == 81
        assert (
            "the entry of 2020-07-29 06:00 UTC is left out: the file does not say how long it lasts"
            in self.forecast.notes
        )

    def test_it_reads_the_first_hour(self) -> None:
        first = self.forecast.hours[0]

        assert first == ForecastHour(
            starts_at=datetime(2020, 7, 20, 11, tzinfo=UTC),
            minutes=60,
            mean_ms=3.8,
            gust_ms=None,
            from_deg=243.4,
            temperature_c=26.5,
            pressure_hpa=1010.7,
            relative_humidity=81.3 * 0.01,
        )

    def test_it_reads_the_last_step(self) -> None:
        last = self.forecast.hours[-1]

        assert last.starts_at == datetime(2020, 7, 29, 0, tzinfo=UTC)
        assert (last.minutes, last.mean_ms, last.from_deg) == (360, 3.1, 304.6)

    def test_it_keeps_steps_of_six_hours_as_they_are_and_says_so(self) -> None:
        assert [hour.minutes for hour in self.forecast.hours] == [60] * 55 + [360] * 26
        assert "uneven steps: 55 of 60 minutes, 26 of 360 minutes" in self.forecast.notes

    def test_it_leaves_no_gap_and_no_overlap(self) -> None:
        for one, later in pairwise(self.forecast.hours):
            assert one.starts_at + timedelta(minutes=one.minutes) == later.starts_at

    def test_it_says_that_no_step_carries_a_gust(self) -> None:
        assert {hour.gust_ms for hour in self.forecast.hours} == {None}
        assert "no step carries a gust" in self.forecast.notes

    def test_it_is_the_same_from_bytes(self) -> None:
        assert locationforecast.parse(COMPACT.encode()) == self.forecast

    def test_it_reads_the_complete_form_too(self) -> None:
        forecast = locationforecast.parse(sample("locationforecast_complete_excerpt.json"))

        assert len(forecast.hours) == 10
        assert forecast.hours[0].starts_at == datetime(2020, 7, 22, 13, tzinfo=UTC)
        assert (forecast.hours[0].mean_ms, forecast.hours[0].temperature_c) == (2.3, 21.6)
        assert forecast.hours[-1].starts_at == datetime(2020, 7, 23, 18, tzinfo=UTC)
        assert (forecast.hours[-1].mean_ms, forecast.hours[-1].minutes) == (4.1, 360)


def test_it_reads_gusts_and_says_how_many_steps_lack_one() -> None:
    forecast = locationforecast.parse(feature(entry(10, wind_speed_of_gust=9.5), entry(11), entry(12)))

    assert [hour.gust_ms for hour in forecast.hours] == [9.5, None, None]
    assert forecast.notes == ("2 of 3 steps carry no gust",)


def test_it_leaves_out_a_gust_below_its_mean_and_says_so() -> None:
    forecast = locationforecast.parse(feature(entry(10, wind_speed_of_gust=5.9)))

    assert forecast.hours[0].gust_ms is None
    assert "1 of 1 gusts are below their mean wind and are left out" in forecast.notes


@pytest.mark.parametrize(
    ("name", "unit", "value", "field", "expected"),
    [
        ("wind_speed", "km/h", 36, "mean_ms", 10.0),
        ("wind_speed", "knots", 20, "mean_ms", 20 * 1852 / 3600),
        ("wind_speed_of_gust", "mph", 30, "gust_ms", 30 * 0.44704),
        ("air_temperature", "fahrenheit", 68, "temperature_c", 20.0),
        ("air_temperature", "kelvin", 288.15, "temperature_c", 15.0),
        ("air_pressure_at_sea_level", "Pa", 101325, "pressure_hpa", 1013.25),
        ("relative_humidity", "1", 0.5, "relative_humidity", 0.5),
    ],
)
def test_it_converts_the_unit_that_the_file_states(
    name: str, unit: str, value: float, field: str, expected: float
) -> None:
    """Factors: exact by definition of knot (1929) and mile (1959); Fahrenheit and kelvin scales."""
    forecast = locationforecast.parse(feature(entry(10, block=1, **{name: value}), units={name: unit}))

    assert getattr(forecast.hours[0], field) == pytest.approx(expected)


def test_it_names_a_unit_that_it_does_not_know() -> None:
    with pytest.raises(Unreadable, match="'furlongs'") as refusal:
        locationforecast.parse(feature(entry(10), units={"wind_speed": "furlongs"}))

    assert refusal.value.field == "properties.meta.units.wind_speed"


def test_it_refuses_numbers_without_a_stated_unit() -> None:
    with pytest.raises(Unreadable, match="does not state the unit of wind_speed"):
        locationforecast.parse(feature(entry(10), units={"wind_speed": None}))


def test_it_does_not_ask_for_the_unit_of_what_is_not_there() -> None:
    assert locationforecast.parse(feature(entry(10), units={"wind_speed_of_gust": None})).hours


def test_it_gives_the_last_entry_the_length_of_its_shortest_block() -> None:
    last = entry(11, block=6)
    last["data"]["next_12_hours"] = {}

    forecast = locationforecast.parse(feature(entry(10), last))

    assert [hour.minutes for hour in forecast.hours] == [60, 360]


def test_it_does_not_believe_a_block_of_more_than_a_day() -> None:
    forecast = locationforecast.parse(feature(entry(10), entry(11, block=48)))

    assert [hour.starts_at for hour in forecast.hours] == starts(10)


def test_it_cuts_a_step_where_the_next_entry_begins() -> None:
    forecast = locationforecast.parse(feature(entry(10, block=6), entry(12)))

    assert forecast.hours[0].minutes == 120


def test_it_never_stretches_an_hour_over_missing_ones() -> None:
    forecast = locationforecast.parse(feature(entry(10), entry(14)))

    assert [hour.minutes for hour in forecast.hours] == [60, 60]
    assert "nothing is said from 2026-07-01 11:00 UTC to 2026-07-01 14:00 UTC" in forecast.notes


@pytest.mark.parametrize(("next_hour", "minutes"), [(13, 180), (16, 360), (30, 360)])
def test_it_lets_an_entry_without_blocks_last_to_the_next_but_six_hours_at_most(
    next_hour: int, minutes: int
) -> None:
    forecast = locationforecast.parse(feature(entry(10, block=None), entry(next_hour)))

    assert forecast.hours[0].minutes == minutes


def test_it_leaves_a_hole_where_an_entry_has_no_wind() -> None:
    forecast = locationforecast.parse(feature(entry(10), entry(11, wind_speed=None), entry(12)))

    assert [hour.starts_at for hour in forecast.hours] == starts(10, 12)
    assert "1 of 3 entries carry no wind and are left out" in forecast.notes
    assert "nothing is said from 2026-07-01 11:00 UTC to 2026-07-01 12:00 UTC" in forecast.notes


def test_it_puts_entries_in_order_of_time() -> None:
    forecast = locationforecast.parse(feature(entry(12), entry(10), entry(11)))

    assert [hour.starts_at for hour in forecast.hours] == starts(10, 11, 12)


def test_it_reads_offsets_as_utc() -> None:
    moved = entry(10)
    moved["time"] = "2026-07-01T12:00:00+02:00"

    assert locationforecast.parse(feature(moved)).hours[0].starts_at == starts(10)[0]


def test_it_says_when_the_issue_time_is_missing() -> None:
    forecast = locationforecast.parse(feature(entry(10)).replace('"updated_at"', '"renewed_at"'))

    assert forecast.issued_at is None
    assert "the file does not say when it was issued" in forecast.notes


@pytest.mark.parametrize("length", [1, 40, 5000, 20_000, len(COMPACT) - 3])
def test_it_refuses_a_truncated_file(length: int) -> None:
    with pytest.raises(Unreadable, match="cut off on the way"):
        locationforecast.parse(COMPACT[:length])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "not whole JSON"),
        ("[" * 100_000, "not whole JSON"),
        ("[]", "not a location forecast"),
        ('{"type": "Point"}', "not a location forecast"),
        ('{"type": "Feature"}', "^properties: An object is expected"),
        ('{"status_code": 200, "headers": {}, "data": {"type": "Feature"}}', "send only its `data` member"),
        (feature(), "No entry of this forecast holds a wind"),
        (feature(entry(10, wind_speed=None)), "No entry of this forecast holds a wind"),
        (feature(entry(10), entry(10)), "Two entries speak of 2026-07-01 10:00 UTC"),
        (
            feature(entry(10, wind_speed="6")),
            r"timeseries\[0\].*wind_speed: The mean wind '6' is not a number",
        ),
        (feature(entry(10, wind_speed=-1)), "between 0 and 75 m/s"),
        (feature(entry(10, wind_speed=float("nan"))), "mean wind nan m/s can't be right"),
        (feature(entry(10, wind_speed=1e999)), "mean wind inf m/s can't be right"),
        (feature(entry(10, wind_from_direction=400)), "between 0 and 360 degrees"),
        (feature(entry(10, relative_humidity=130)), "relative humidity 130 %"),
        (feature(entry(10)).replace("10:00:00Z", "10:00:00"), "has no zone"),
        (feature(entry(10)).replace("10:00:00Z", "25:00:00Z"), "is not a time"),
        (feature(entry(10)).replace("2026-07-01T10", "0001-01-01T10"), "year 1 can't be right"),
        (feature(entry(10)).replace('{"details"', '{"detail"'), "instant.details: An object"),
    ],
)
def test_it_refuses_in_plain_words(text: str, message: str) -> None:
    with pytest.raises(Unreadable, match=message):
        locationforecast.parse(text)
