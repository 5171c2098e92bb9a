"""How values are shown: unit printed, nothing missing shown as zero, dates that cannot be misread."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from rentals.lib import show


@pytest.mark.parametrize(
    ("wind_ms", "said"),
    [
        # 1 kn is 1852 m an hour: The International System of Units, 8th brochure, table 8.
        (0.0, "0 kn"),
        (5.144, "10 kn"),
        (10.288, "20 kn"),
        (0.25, "0 kn"),
        (0.26, "1 kn"),
        (None, "–"),
    ],
)
def test_winds_are_whole_knots(wind_ms: float | None, said: str) -> None:
    assert show.kn(wind_ms) == said


@pytest.mark.parametrize(
    ("value", "digits", "said"),
    [
        (4.2, 1, "4.2"),
        (4.0, 1, "4"),
        (4.25, 2, "4.25"),
        (100.0, 0, "100"),
        (0.0, 1, "0"),
        (None, 1, "–"),
    ],
)
def test_numbers_carry_no_idle_zeros(value: float | None, digits: int, said: str) -> None:
    assert show.num(value, digits) == said


@pytest.mark.parametrize(("share", "said"), [(0.0, "0 %"), (0.336, "34 %"), (1.0, "100 %"), (None, "–")])
def test_shares_are_whole_percent(share: float | None, said: str) -> None:
    assert show.percent(share) == said


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(0, "0 min"), (89, "1 min"), (3599, "1 h 00 min"), (7380, "2 h 03 min"), (None, "–")],
)
def test_durations_are_hours_and_minutes(seconds: float | None, said: str) -> None:
    assert show.hours(seconds) == said


@pytest.mark.parametrize(
    ("degrees", "said"),
    # Sixteen points of 22.5 degrees, each named at its middle: common practice, no source.
    [(0, "N"), (11, "N"), (12, "NNE"), (90, "E"), (225, "SW"), (349, "N"), (360, "N"), (None, "variable")],
)
def test_directions_are_sixteen_points(degrees: float | None, said: str) -> None:
    assert show.compass(degrees) == said


def test_a_state_is_shown_as_words() -> None:
    assert show.words("held_back") == "held back"


class TestMoments:
    at = datetime(2026, 11, 25, 14, 5, tzinfo=UTC)

    @pytest.mark.parametrize(
        ("filter_", "said"),
        [
            (show.clock, "15:05"),
            (show.day, "Wed 25 Nov 2026"),
            (show.day_clock, "Wed 25 Nov 2026, 15:05"),
        ],
    )
    def test_they_are_shown_by_the_station_s_clock(self, filter_: Callable[[Any], str], said: str) -> None:
        with timezone.override(ZoneInfo("Europe/Madrid")):
            assert filter_(self.at) == said

    def test_late_in_the_evening_the_day_is_the_station_s_day(self) -> None:
        with timezone.override(ZoneInfo("Asia/Tokyo")):
            assert show.day(datetime(2026, 11, 25, 20, tzinfo=UTC)) == "Thu 26 Nov 2026"

    def test_a_birth_date_has_no_clock(self) -> None:
        assert show.day(date(2011, 3, 9)) == "Wed 9 Mar 2011"

    @pytest.mark.parametrize("filter_", [show.clock, show.day, show.day_clock])
    def test_what_is_missing_is_a_dash(self, filter_: Callable[[Any], str]) -> None:
        assert filter_(None) == "–"
