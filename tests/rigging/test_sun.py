"""Sun times against published tables, and the traps of calendars, zones and high latitudes."""

from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging.sun import Polar, SunTimes, sun_times
from rigging.units import BadValue
from tests.rigging.reference import rows

MINUTE = timedelta(minutes=1)
ARCTIC = (69.65, 18.96, ZoneInfo("Europe/Oslo"))


@pytest.mark.parametrize("row", rows("sun"), ids=lambda row: f"{row['source']}-{row['day']}-{row['event']}")
def test_it_is_within_a_minute_of_the_published_time(row: dict[str, str]) -> None:
    times = sun_times(
        date.fromisoformat(row["day"]),
        float(row["latitude_deg"]),
        float(row["longitude_deg"]),
        ZoneInfo(row["zone"]),
    )

    published = datetime.fromisoformat(row["utc"]).replace(tzinfo=UTC)
    assert abs(getattr(times, row["event"]) - published) <= MINUTE


def test_it_gives_a_western_station_the_evening_of_its_own_calendar() -> None:
    times = sun_times(date(2015, 8, 2), 39.74, -105.18, ZoneInfo("America/Denver"))

    assert times.sunset is not None
    assert times.sunset.date() == date(2015, 8, 2)


def test_it_has_no_sunset_in_the_arctic_midsummer() -> None:
    times = sun_times(date(2024, 6, 21), *ARCTIC)

    assert (times.sunset, times.civil_dusk, times.polar) == (None, None, Polar.DAY)


def test_it_keeps_the_twilight_of_a_day_without_sunrise() -> None:
    times = sun_times(date(2024, 12, 21), *ARCTIC)

    assert times.polar is Polar.NIGHT
    assert times.civil_dusk is not None


def test_it_has_a_sunset_but_no_civil_dusk_where_twilight_lasts_all_night() -> None:
    times = sun_times(date(2024, 6, 21), 64.1, -21.9, ZoneInfo("Atlantic/Reykjavik"))

    assert times.sunset is not None
    assert (times.civil_dusk, times.polar) == (None, None)


@given(
    day=st.dates(date(1950, 1, 1), date(2090, 1, 1)),
    latitude=st.floats(-60, 60),
    longitude=st.floats(-180, 180),
    zone=st.sampled_from(["Pacific/Kiritimati", "America/Denver", "Europe/London", "Asia/Shanghai", "UTC"]),
)
def test_it_orders_the_day_wherever_the_clock_is_set(
    day: date, latitude: float, longitude: float, zone: str
) -> None:
    times = sun_times(day, latitude, longitude, ZoneInfo(zone))

    order = [m for m in (times.civil_dawn, times.sunrise, times.sunset, times.civil_dusk) if m is not None]
    assert order == sorted(order)
    assert times.sunrise is not None
    assert times.sunset is not None
    assert times.sunset - times.sunrise < timedelta(hours=20)


@given(
    latitude=st.floats(allow_nan=True) | st.integers(),
    longitude=st.floats(allow_nan=True),
    day=st.dates() | st.none(),
)
def test_it_answers_or_names_the_bad_argument(latitude: float, longitude: float, day: date | None) -> None:
    with suppress(BadValue):
        times = sun_times(day, latitude, longitude, UTC)  # type: ignore[arg-type]

        assert isinstance(times, SunTimes)


def test_it_asks_for_a_zone_not_its_name() -> None:
    with pytest.raises(BadValue, match="zone is Europe/London"):
        sun_times(date(2026, 7, 1), 50.0, 0.0, "Europe/London")  # type: ignore[arg-type]
