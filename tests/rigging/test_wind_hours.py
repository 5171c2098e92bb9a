"""Slots of wind: weighted, honest about gaps, indifferent to how the hours are cut."""

import contextlib
import math
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigging import wind
from rigging.units import BadValue
from tests.rigging.strategies import DAY, hours

NAIVE = DAY.replace(tzinfo=None)


def hour(at: int, mean_ms: float, minutes: int = 60, **more: float | None) -> wind.Hour:
    """An hour that starts `at` minutes after DAY."""
    start = DAY + timedelta(minutes=at)
    return wind.Hour(start=start, minutes=minutes, mean_ms=mean_ms, **more)  # type: ignore[arg-type]


def after(minutes: int) -> datetime:
    return DAY + timedelta(minutes=minutes)


def test_it_weights_hours_by_their_minutes_in_the_slot() -> None:
    slot = wind.slot_wind([hour(0, 6.0), hour(60, 10.0)], after(45), after(90))

    assert slot.mean_ms == pytest.approx((15 * 6 + 30 * 10) / 45)


def test_it_names_what_no_hour_covers() -> None:
    slot = wind.slot_wind([hour(0, 6.0), hour(120, 10.0)], after(30), after(210))

    assert slot.missing == ((after(60), after(120)), (after(180), after(210)))
    assert (slot.covered_minutes, slot.slot_minutes) == (90, 180)
    assert sum("No wind is known" in reason.text for reason in slot.reasons) == 2


def test_it_lets_covered_minutes_speak_alone() -> None:
    slot = wind.slot_wind([hour(0, 6.0)], after(30), after(120))

    assert slot.mean_ms == pytest.approx(6.0)


def test_it_refuses_a_slot_that_no_hour_covers() -> None:
    with pytest.raises(BadValue, match="hours"):
        wind.slot_wind([hour(0, 6.0)], after(60), after(120))


def test_it_prefers_the_finer_forecast_where_two_overlap() -> None:
    slot = wind.slot_wind([hour(0, 4.0, minutes=360), hour(60, 9.0)], after(60), after(120))

    assert slot.mean_ms == pytest.approx(9.0)


def test_it_prefers_the_later_of_two_equal_forecasts() -> None:
    slot = wind.slot_wind([hour(0, 4.0), hour(0, 9.0)], after(0), after(60))

    assert slot.mean_ms == pytest.approx(9.0)


def test_it_says_when_a_gust_is_estimated() -> None:
    slot = wind.slot_wind([hour(0, 10.0)], after(0), after(60), exposure=wind.Exposure.AT_SEA)

    # Harper, Kepert & Ginger 2010, table 1.1: 3 s in an hour at sea
    assert slot.gust_ms == pytest.approx(13.0)
    assert slot.gust_assumed
    assert "estimated" in slot.reasons[0].text


def test_it_takes_a_ten_minute_mean_for_what_it_is() -> None:
    slot = wind.slot_wind([hour(0, 10.0, 10)], after(0), after(10), exposure=wind.Exposure.AT_SEA)

    # Harper, Kepert & Ginger 2010, table 1.1: 3 s in 600 s at sea
    assert slot.gust_ms == pytest.approx(12.3)


def test_it_puts_the_lull_as_far_below_the_median_as_the_gust_is_above() -> None:
    (part,) = (slot := wind.slot_wind([hour(0, 10.0, gust_ms=13.0, ln_sd=0.0)], after(0), after(60))).parts

    median = math.exp(part.ln_mean)
    assert slot.gust_ms / median == pytest.approx(median / slot.lull_ms)
    assert math.log(slot.gust_ms / median) == pytest.approx(3 * part.ln_sd)


def test_it_keeps_a_reported_gust() -> None:
    slot = wind.slot_wind([hour(0, 10.0, gust_ms=12.0)], after(0), after(60))

    assert (slot.gust_ms, slot.gust_assumed) == (12.0, False)


def test_it_averages_directions_as_vectors() -> None:
    slot = wind.slot_wind([hour(0, 8.0, from_deg=350.0), hour(60, 8.0, from_deg=30.0)], after(0), after(120))

    assert slot.from_deg == pytest.approx(10.0)


def test_it_weighs_directions_by_speed() -> None:
    slot = wind.slot_wind([hour(0, 3.0, from_deg=0.0), hour(60, 9.0, from_deg=90.0)], after(0), after(120))

    assert slot.from_deg == pytest.approx(math.degrees(math.atan2(9, 3)))


def test_it_gives_no_direction_to_winds_that_oppose() -> None:
    slot = wind.slot_wind([hour(0, 8.0, from_deg=90.0), hour(60, 8.0, from_deg=270.0)], after(0), after(120))

    assert slot.from_deg is None


@pytest.mark.parametrize(
    ("first_deg", "second_deg", "expected"),
    [
        (270.0, 90.0, wind.Shore.OFF_SHORE),
        (0.0, 90.0, wind.Shore.OFF_SHORE),
        (0.0, 270.0, wind.Shore.SIDE_SHORE),
        (None, 270.0, wind.Shore.ON_SHORE),
        (None, None, None),
    ],
)
def test_it_calls_a_slot_by_the_worst_of_its_parts(
    first_deg: float | None, second_deg: float | None, expected: wind.Shore | None
) -> None:
    series = [hour(0, 8.0, from_deg=first_deg), hour(60, 8.0, from_deg=second_deg)]

    assert wind.slot_wind(series, after(0), after(120)).shore(270) is expected


def test_it_counts_air_of_unknown_temperature_as_standard() -> None:
    # ISO 2533 at sea level
    assert wind.slot_wind([hour(0, 8.0)], after(0), after(60)).density_kg_m3 == 1.225


def test_it_counts_minutes_across_a_clock_change() -> None:
    zone = ZoneInfo("CET")  # IANA tz database: clocks go back at 03:00 on 2026-10-25
    start = datetime(2026, 10, 25, 2, 0, tzinfo=zone)
    end = datetime(2026, 10, 25, 3, 0, tzinfo=zone)
    first = wind.Hour(start=start, minutes=60, mean_ms=8.0)
    second = wind.Hour(start=first.end, minutes=60, mean_ms=8.0)

    slot = wind.slot_wind([first, second], start, end)

    assert (slot.slot_minutes, slot.covered_minutes) == (120, 120)


@pytest.mark.parametrize(
    ("start", "end"),
    [
        pytest.param(NAIVE, after(60), id="naive start"),
        pytest.param(after(0), NAIVE, id="naive end"),
        pytest.param(after(60), after(0), id="ends before it starts"),
        pytest.param(after(0), after(0), id="empty"),
        pytest.param(after(0), after(24 * 60 + 1), id="longer than a day"),
    ],
)
def test_it_refuses_a_slot_without_sense(start: datetime, end: datetime) -> None:
    with pytest.raises(BadValue):
        wind.slot_wind([hour(0, 6.0)], start, end)


@pytest.mark.parametrize(
    "bad",
    [
        {"mean_ms": math.nan},
        {"mean_ms": -1.0},
        {"mean_ms": 400.0},
        {"mean_ms": 5.0, "gust_ms": math.inf},
        {"mean_ms": 5.0, "from_deg": 361.0},
        {"mean_ms": 5.0, "relative_humidity": 80.0},
        {"mean_ms": 5.0, "pressure_hpa": 101325.0},
        {"mean_ms": 5.0, "minutes": 0},
        {"mean_ms": 5.0, "minutes": 7.5},
        {"mean_ms": 5.0, "start": NAIVE},
    ],
    ids=str,
)
def test_it_refuses_an_hour_out_of_range(bad: dict[str, float]) -> None:
    with pytest.raises(BadValue, match=list(bad)[-1]):
        wind.Hour(**{"start": DAY, **bad})  # type: ignore[arg-type]


@settings(max_examples=40)
@given(series=st.lists(hours(), min_size=1, max_size=8), length=st.integers(1, 700))
def test_it_keeps_the_order_lull_mean_gust_and_weights_of_one(series: list[wind.Hour], length: int) -> None:
    start = series[0].start
    slot = wind.slot_wind(series, start, start + timedelta(minutes=length))

    assert slot.lull_ms <= slot.mean_ms + 1e-9
    assert slot.mean_ms <= slot.gust_ms + 1e-9
    assert sum(part.weight for part in slot.parts) == pytest.approx(1)
    missing = sum((until - begin).total_seconds() / 60 for begin, until in slot.missing)
    assert slot.covered_minutes + missing == pytest.approx(slot.slot_minutes)


@given(mean=st.floats(0.5, 25), ratio=st.floats(1, 2.5), error=st.floats(0, 0.4))
def test_it_keeps_the_mean_of_each_hour_in_its_distribution(mean: float, ratio: float, error: float) -> None:
    (part,) = wind.slot_wind([hour(0, mean, gust_ms=mean * ratio, ln_sd=error)], after(0), after(60)).parts

    assert math.exp(part.ln_mean + part.ln_sd**2 / 2) == pytest.approx(mean)


@given(mean=st.floats(1, 25), cut=st.integers(1, 59))
def test_it_does_not_care_how_a_steady_hour_is_cut(mean: float, cut: int) -> None:
    whole = wind.slot_wind([hour(0, mean, gust_ms=mean * 1.3)], after(0), after(60))
    halves = [hour(0, mean, cut, gust_ms=mean * 1.3), hour(cut, mean, 60 - cut, gust_ms=mean * 1.3)]
    pieces = wind.slot_wind(halves, after(0), after(60))

    assert (pieces.mean_ms, pieces.gust_ms, pieces.lull_ms) == pytest.approx(
        (whole.mean_ms, whole.gust_ms, whole.lull_ms)
    )


def test_it_brings_a_low_anemometer_up_to_ten_metres() -> None:
    low = hour(0, 8.513, gust_ms=10.0)

    lifted = wind.at_ten_metres(low, 2.0)

    assert lifted.mean_ms == pytest.approx(10.0, abs=1e-3)
    assert lifted.gust_ms == pytest.approx(10 / 0.8513, rel=1e-4)


@pytest.mark.parametrize("year", [1, 1899, 2201, 9999])
def test_it_refuses_years_without_sense(year: int) -> None:
    with pytest.raises(BadValue, match="start"):
        wind.Hour(start=DAY.replace(year=year), mean_ms=5.0)


def test_it_keeps_times_in_utc() -> None:
    local = datetime(2026, 6, 1, 10, tzinfo=ZoneInfo("CET"))

    assert wind.Hour(start=local, mean_ms=5.0).start == datetime(2026, 6, 1, 8, tzinfo=UTC)


MOMENTS = st.datetimes() | st.datetimes(timezones=st.timezones()) | st.none()


@settings(max_examples=40)
@given(
    series=st.lists(hours(0, 45), max_size=5),
    start=MOMENTS | st.integers(0, 600).map(after),
    end=MOMENTS | st.integers(0, 1200).map(after),
)
def test_it_refuses_any_slot_or_answers_with_numbers(
    series: list[wind.Hour], start: datetime, end: datetime
) -> None:
    with contextlib.suppress(BadValue):
        slot = wind.slot_wind(series, start, end)
        assert all(math.isfinite(x) for x in (slot.mean_ms, slot.gust_ms, slot.lull_ms, slot.density_kg_m3))
