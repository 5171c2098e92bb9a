"""Exposure: wind that weighs an hour, and daylight in which a rig stood built."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging.units import BadValue
from rigging.wear import sun_slices, wind_weight

GREENWICH = (51.4769, 0.0)
LONDON = ZoneInfo("Europe/London")
NOON = datetime(2026, 6, 21, 12, tzinfo=UTC)
DAY = timedelta(days=1)


def hours(start: datetime, end: datetime, *, at: tuple[float, float] = GREENWICH) -> float:
    return sum(each.seconds for each in sun_slices(start, end, *at, LONDON)) / 3600


@pytest.mark.parametrize(
    ("day", "daylight_h"),
    [
        # from memory: Greenwich has about 16 h 38 min on the longest day, 7 h 50 min on the shortest
        pytest.param(datetime(2026, 6, 21, tzinfo=LONDON), 16.64, id="longest day"),
        pytest.param(datetime(2026, 12, 21, tzinfo=LONDON), 7.83, id="shortest day"),
        # published: NOAA zenith 90.833 degrees makes the equinox day about 12 h 10 min at this latitude
        pytest.param(datetime(2026, 3, 20, tzinfo=LONDON), 12.17, id="equinox"),
    ],
)
def test_a_rig_that_stands_a_whole_day_has_all_its_daylight(day: datetime, daylight_h: float) -> None:
    assert hours(day, day + DAY) == pytest.approx(daylight_h, abs=0.06)


def test_noon_is_light_and_midnight_is_not() -> None:
    assert hours(NOON, NOON + timedelta(hours=1)) == pytest.approx(1)
    assert hours(NOON + DAY / 2 - timedelta(hours=1), NOON + DAY / 2 + timedelta(hours=1)) == 0


def test_the_midnight_sun_is_counted_round_the_clock() -> None:
    assert hours(NOON, NOON + 3 * DAY, at=(78.2, 15.6)) == pytest.approx(72)


def test_the_polar_night_is_dark() -> None:
    december = datetime(2026, 12, 21, tzinfo=UTC)

    assert hours(december, december + 3 * DAY, at=(78.2, 15.6)) == 0


@given(
    start=st.integers(0, 365 * 24 * 60),
    first=st.integers(0, 3 * 24 * 60),
    second=st.integers(0, 3 * 24 * 60),
    latitude=st.floats(-75, 75),
)
def test_cut_in_two_it_is_as_light_as_whole(start: int, first: int, second: int, latitude: float) -> None:
    begin = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=start)
    middle = begin + timedelta(minutes=first)
    end = middle + timedelta(minutes=second)

    whole = hours(begin, end, at=(latitude, 0.0))

    assert whole == pytest.approx(
        hours(begin, middle, at=(latitude, 0.0)) + hours(middle, end, at=(latitude, 0.0))
    )
    assert 0 <= whole <= (end - begin).total_seconds() / 3600 + 1e-9


@pytest.mark.parametrize(
    ("wind_ms", "weight"),
    # policy: an hour in 7.5 m/s is an hour; bounds half and double
    [(0, 0.5), (3.75, 0.5), (6, 0.8), (7.5, 1), (11.25, 1.5), (15, 2), (30, 2)],
)
def test_an_hour_weighs_by_its_wind(wind_ms: float, weight: float) -> None:
    assert wind_weight(wind_ms).value == pytest.approx(weight)


def test_an_hour_without_a_known_wind_is_an_hour_and_says_so() -> None:
    found = wind_weight(None)

    assert found.value == 1
    assert "No wind is known" in found.reason.text


@given(st.floats(0, 75), st.floats(0, 75))
def test_more_wind_never_weighs_less(one: float, other: float) -> None:
    low, high = sorted((one, other))

    assert wind_weight(low).value <= wind_weight(high).value


@pytest.mark.parametrize("wind", [-0.1, float("nan"), float("inf"), True, "9"])
def test_it_refuses_a_wind_that_is_none(wind: float) -> None:
    with pytest.raises(BadValue):
        wind_weight(wind)


@pytest.mark.parametrize(
    "end",
    [NOON - timedelta(seconds=1), NOON + 401 * DAY, NOON.replace(tzinfo=None) + DAY],
    ids=["before", "long", "naive"],
)
def test_it_refuses_a_span_that_is_none(end: datetime) -> None:
    with pytest.raises(BadValue):
        sun_slices(NOON, end, *GREENWICH, LONDON)
