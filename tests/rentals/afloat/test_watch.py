"""The watch over the late: each phase and its letter once, whoever looks and however often.

Minutes after the due time: 10, 25 and 40 for uncertainty, alert and distress, halved where lateness is worse
(`rigging.checks.overdue`; common practice, no source).
"""

from datetime import date
from typing import Any

import pytest

from rentals.afloat.models import PhaseChange
from rentals.afloat.services import UnableToLogBeach, watch
from rentals.audit.models import Entry
from rentals.bookings.models import Outing
from rentals.lib.access import System, service
from rentals.mail.models import Letter
from tests.rentals.walk import MINUTE, Walk

LOOKOUT = service(System.WATCH)
PHASES = ["uncertainty", "alert", "distress"]


@pytest.fixture
def outing(cast: Walk) -> Outing:
    """Wren afloat, due at 13:00 on a mild day."""
    return cast.out()


def look(outing: Outing, minutes: float) -> int:
    now = outing.ends_at + minutes * MINUTE
    return watch(actor=LOOKOUT, station_id=outing.station_id, now=now)


def raised() -> list[str]:
    return list(PhaseChange.objects.order_by("id").values_list("phase", flat=True))


class TestPhases:
    @pytest.mark.parametrize(
        ("minutes", "begun"),
        [(-1, 0), (0, 0), (9, 0), (10, 1), (24, 1), (25, 2), (39, 2), (40, 3), (600, 3)],
    )
    def test_they_begin_by_the_minute(self, outing: Outing, minutes: int, begun: int) -> None:
        look(outing, minutes)

        assert raised() == PHASES[:begun]

    def test_each_is_raised_once_however_often_somebody_looks(self, outing: Outing) -> None:
        for minutes in (10, 10, 12, 25, 26, 40, 41):
            look(outing, minutes)

        assert raised() == PHASES

    def test_each_has_one_letter_to_the_station_s_watch(self, cast: Walk, outing: Outing) -> None:
        for minutes in (10, 11, 25, 40, 50):
            look(outing, minutes)

        letters = Letter.objects.filter(event__startswith="overdue:").exclude(event__contains="step")
        letters = letters.order_by("pk")
        assert [letter.event for letter in letters] == [
            f"overdue:{outing.pk}:{phase}:20270714T120000Z" for phase in PHASES
        ]
        assert {letter.to for letter in letters} == {cast.tarrow.watch_email}

    def test_a_letter_says_who_when_and_whom_to_call(self, cast: Walk, outing: Outing) -> None:
        look(outing, 40)

        letter = Letter.objects.get(event__contains="distress")
        assert letter.subject == "Distress: Wren Alder was due 13:00"
        for word in ("Wren Alder (advanced)", cast.tarrow.rescue_number, "0700 100 200", "10:00", "13:00"):
            assert word in letter.body
        assert "In any doubt call the rescue service first" in letter.body

    def test_the_journal_of_the_outing_has_each(self, outing: Outing) -> None:
        look(outing, 40)

        said = Entry.objects.about("outing", outing.pk).filter(act=System.WATCH.value)
        assert said.count() == 3

    def test_it_counts_the_late(self, cast: Walk, outing: Outing) -> None:
        assert (look(outing, 5), look(outing, 10), look(outing, 40)) == (0, 1, 1)


class TestWhoIsNotLate:
    def test_a_rider_who_came_ashore(self, cast: Walk, outing: Outing) -> None:
        cast.land(outing)

        assert look(outing, 60) == 0
        assert raised() == []

    def test_a_rider_who_never_went(self, cast: Walk) -> None:
        outing = cast.cleared()

        assert look(outing, 60) == 0

    def test_a_rider_ashore_at_last_is_watched_no_further(self, cast: Walk, outing: Outing) -> None:
        look(outing, 10)
        cast.land(outing, after=outing.ends_at + 20 * MINUTE - cast.now)

        look(outing, 60)

        assert raised() == PHASES[:1]


HALVED: dict[str, dict[str, Any]] = {
    "cold water": {"beach": {"water_c": 12.0}},
    "water not known": {"beach": {"water_c": None}},
    "off-shore": {"beach": {"from_deg": 70.0}},
    "a minor": {"rider": {"born_on": date(2012, 1, 1)}},
}


class TestWhenLatenessIsWorse:
    @pytest.mark.parametrize("worse", HALVED.values(), ids=HALVED)
    def test_half_the_minutes_are_left(self, cast: Walk, outing: Outing, worse: dict[str, Any]) -> None:
        type(outing.rider).objects.filter(pk=outing.rider_id).update(**worse.get("rider", {"swims": True}))
        cast.now = outing.ends_at
        cast.watch_the_beach(**worse.get("beach", {}))

        look(outing, 5)

        assert raised() == PHASES[:1]

    def test_on_a_mild_day_they_are_whole(self, cast: Walk, outing: Outing) -> None:
        cast.now = outing.ends_at
        cast.watch_the_beach()

        look(outing, 5)

        assert raised() == []


class TestBeachLog:
    def test_lightning_is_told_as_an_order(self, cast: Walk) -> None:
        cast.watch_the_beach(lightning=True)

        assert cast.told("station", cast.tarrow.pk)[0].startswith("Lightning or thunder logged")

    @pytest.mark.parametrize(
        "winds", [{"mean_ms": 8.0, "gust_ms": 7.0}, {"mean_ms": None, "gust_ms": 7.0}], ids=["under", "alone"]
    )
    def test_a_gust_is_at_least_its_mean(self, cast: Walk, winds: dict[str, Any]) -> None:
        with pytest.raises(UnableToLogBeach) as refusal:
            cast.watch_the_beach(**winds)

        assert set(refusal.value.fields) == {"gust"}

    @pytest.mark.parametrize(
        "found",
        [{"water_c": 46.0}, {"mean_ms": 90.0, "gust_ms": 95.0}, {"mean_ms": -1.0, "gust_ms": None}],
        ids=["water", "storm", "negative"],
    )
    def test_what_cannot_be_measured_is_refused_in_words(self, cast: Walk, found: dict[str, Any]) -> None:
        with pytest.raises(UnableToLogBeach):
            cast.watch_the_beach(**found)
