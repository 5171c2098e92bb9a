"""How values are shown: unit printed, nothing missing shown as zero, dates that cannot be misread."""

import csv
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone, translation

from rentals.lib import show

BEAUFORT = Path(__file__).parents[3] / "fixtures" / "reference" / "beaufort.csv"
FORCES = list(csv.DictReader(BEAUFORT.read_text().splitlines()[1:]))
"""WMO-No. 306, table 1100; where it was seen stands in the file."""


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


class TestUnits:
    @pytest.fixture(autouse=True)
    def _as_before(self) -> Iterator[None]:
        yield
        show.use(show.Units())

    @pytest.mark.parametrize(
        ("unit", "said"),
        # 10 m/s: × 3600/1852 kn and × 3.6 km/h (BIPM, SI Brochure, 9th ed.); force 5: WMO-No. 306, table 1100
        [("kn", "19 kn"), ("m/s", "10.0 m/s"), ("km/h", "36 km/h"), ("Bft", "5 Bft")],
    )
    def test_a_wind_is_shown_in_the_unit_chosen(self, unit: str, said: str) -> None:
        show.use(show.Units(wind=unit))

        assert show.kn(10.0) == said

    @pytest.mark.parametrize("row", FORCES, ids=lambda row: row["name"])
    def test_each_force_holds_its_whole_span(self, row: dict[str, str]) -> None:
        show.use(show.Units(wind="Bft"))

        for name in ("low_ms", "high_ms"):
            if row[name]:
                assert show.kn(float(row[name])) == f"{row['number']} Bft"

    def test_mass_and_stature_follow_too(self) -> None:
        # NIST SP 811 (2008), appendix B.8: 1 lb = 0.453 592 37 kg, 1 in = 2.54 cm
        assert (show.mass(74.5), show.stature(178)) == ("74.5 kg", "178 cm")
        show.use(show.Units(mass="lb", length="ft-in"))
        assert (show.mass(74.5), show.stature(178)) == ("164 lb", "5 ft 10 in")
        assert (show.mass(None), show.stature(None)) == ("–", "–")

    @pytest.mark.parametrize("written", ["", "kn kg", "kn kg cm cm", "knots kg cm", "<b> kg cm"])
    def test_what_a_cookie_does_not_say_rightly_is_as_usual(self, written: str) -> None:
        assert show.Units.read(written) == show.Units()

    def test_a_cookie_says_them_back(self) -> None:
        units = show.Units("Bft", "lb", "ft-in")

        assert show.Units.read(units.written()) == units

    def test_days_are_named_in_the_readers_language(self) -> None:
        with translation.override("de"):
            assert show.day(date(2027, 3, 9)) == "Di 9 Mär 2027"
