"""Riders on the water: seen, extended, kit swapped, heads counted, everybody called in."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.urls import reverse

from rentals.afloat import queries
from rentals.afloat import services as afloat
from rentals.afloat.models import HeadCount, PhaseChange, Recall, Sighting
from rentals.bench.services import recall_kit
from rentals.bookings.models import KitPart, Outing
from rentals.fleet.models import Hold
from rentals.fleet.services import UnableToHold
from rentals.lib import clock
from rentals.lib.access import System, service
from rentals.mail.models import Letter
from rentals.takings import services as takings
from rentals.takings.models import Charge
from tests.rentals.browser import signed_in
from tests.rentals.takings.shop import PriceList
from tests.rentals.walk import HOUR, MINUTE, Walk, again

LOOKOUT = service(System.WATCH)


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


@pytest.fixture
def outing(cast: Walk) -> Outing:
    """Wren afloat since ten, due at 13:00."""
    return cast.out()


def see(cast: Walk, outing: Outing, *, at: Any = None, once: Any = None, **seen: Any) -> Sighting:
    return afloat.see(
        actor=cast.ida, outing_id=outing.pk, seen=afloat.Seen(**seen), once=once, now=at or cast.now
    )


def extend(cast: Walk, outing: Outing, minutes: int = 30, **values: Any) -> afloat.Extended:
    usual: dict[str, Any] = {"actor": cast.jory, "now": cast.at(12, 30)}
    return afloat.extend(outing_id=outing.pk, minutes=minutes, **{**usual, **values})


class TestWhatLongerCosts:
    """An hour more than the three of Full kit that are on the account: by the list, or by the pass."""

    def test_it_is_charged_by_the_list_and_said(self, cast: Walk, outing: Outing) -> None:
        PriceList(cast)
        party = outing.booking.party
        takings.charge_due(actor=cast.boss, party_id=party.pk, now=cast.now)

        said = extend(cast, outing, 60).words

        charges = list(Charge.objects.filter(purpose="extension"))
        assert [charge.by_id for charge in charges] == [cast.jory.user_id]
        assert f"Charged {charges[0].gross} more." in said

    def test_sent_twice_it_is_charged_once(self, cast: Walk, outing: Outing) -> None:
        PriceList(cast)
        takings.charge_due(actor=cast.boss, party_id=outing.booking.party.pk, now=cast.now)
        key = uuid4()

        for _sent in range(2):
            extend(cast, outing, 60, once=key)

        assert Charge.objects.filter(purpose="extension").count() == 1

    def test_what_is_not_charged_yet_comes_whole_later(self, cast: Walk, outing: Outing) -> None:
        PriceList(cast)

        assert extend(cast, outing, 60).words == ""
        assert not Charge.objects.exists()


class TestSeeing:
    def test_the_newest_sighting_is_the_last_seen(self, cast: Walk, outing: Outing) -> None:
        see(cast, outing, at=cast.at(11), bearing_deg=180.0, distance_m=300.0)
        see(cast, outing, at=cast.at(11, 30), note="by the buoy")

        last = queries.last_seen([again(outing)])[outing.pk]

        assert (last.at, last.by, last.note, last.launched) == (
            cast.at(11, 30),
            "Ida Desk",
            "by the buoy",
            False,
        )

    def test_the_last_place_is_the_newest_that_says_where(self, cast: Walk, outing: Outing) -> None:
        see(cast, outing, at=cast.at(11), bearing_deg=180.0, distance_m=1852.0)
        see(cast, outing, at=cast.at(11, 30))

        place = queries.last_place(again(outing))

        assert place.at == cast.at(11)
        assert place.latitude_deg is not None
        # A minute of latitude is a nautical mile, 1852 m, within half a percent; definition of the mile.
        assert cast.tarrow.latitude_deg - place.latitude_deg == pytest.approx(1 / 60, rel=0.006)
        assert place.longitude_deg == pytest.approx(cast.tarrow.longitude_deg)

    def test_who_was_never_seen_was_last_seen_at_the_launch(self, cast: Walk, outing: Outing) -> None:
        last = queries.last_seen([again(outing)])[outing.pk]

        assert (last.at, last.launched) == (cast.now, True)

    def test_one_seen_in_trouble_is_in_distress_at_once(self, cast: Walk, outing: Outing) -> None:
        see(cast, outing, in_trouble=True)

        raised = PhaseChange.objects.order_by("id").values_list("phase", flat=True)
        assert list(raised) == ["uncertainty", "alert", "distress"]
        assert Letter.objects.filter(event__startswith="overdue:").count() == 3
        (row,) = queries.afloat_page(cast.tarrow, now=cast.now).riders
        assert (row.result.phase, row.last_seen.in_trouble) == ("distress", True)

    def test_the_same_tap_twice_is_one_sighting(self, cast: Walk, outing: Outing) -> None:
        key = uuid4()

        first, second = see(cast, outing, once=key), see(cast, outing, once=key)

        assert first == second
        assert Sighting.objects.count() == 1

    def test_who_is_ashore_is_not_seen_on_the_water(self, cast: Walk, outing: Outing) -> None:
        cast.land(outing)

        with pytest.raises(afloat.NotAfloat):
            see(cast, outing)

    @pytest.mark.parametrize(
        ("seen", "field"),
        [
            ({"bearing_deg": 90.0}, "distance_m"),
            ({"distance_m": 90.0}, "bearing_deg"),
            ({"bearing_deg": 360.0, "distance_m": 10.0}, "bearing_deg"),
            ({"bearing_deg": 10.0, "distance_m": 20_001.0}, "distance_m"),
        ],
    )
    def test_a_place_that_cannot_be_is_refused_beside_its_field(
        self, cast: Walk, outing: Outing, seen: dict[str, Any], field: str
    ) -> None:
        with pytest.raises(afloat.UnableToSee) as refusal:
            see(cast, outing, **seen)

        assert set(refusal.value.fields) == {field}


class TestExtending:
    def test_the_due_time_and_the_holds_move(self, cast: Walk, outing: Outing) -> None:
        done = extend(cast, outing)

        assert again(outing).ends_at == cast.at(13, 30)
        assert done.outing.ends_at == cast.at(13, 30)
        held = Hold.objects.filter(live=True, purpose=f"outing {outing.pk}")
        turn_round = timedelta(minutes=cast.tarrow.turn_round_min)
        assert {hold.ends_at for hold in held} == {cast.at(13, 30) + turn_round}

    def test_one_who_is_over_time_is_extended_from_now(self, cast: Walk, outing: Outing) -> None:
        extend(cast, outing, 15, now=cast.at(13, 5))

        assert again(outing).ends_at == cast.at(13, 20)

    def test_kit_that_is_promised_next_keeps_the_due_time(self, cast: Walk, outing: Outing) -> None:
        (second,) = cast.booked(cast.rider("Bram Sallow", level="advanced"), hour=14)
        cast.kit(second)

        with pytest.raises(UnableToHold, match=r"S2 is promised from 14:00"):
            extend(cast, outing, 60)

        assert again(outing).ends_at == cast.at(13)

    def test_the_next_one_is_told(self, cast: Walk, outing: Outing) -> None:
        (second,) = cast.booked(cast.rider("Bram Sallow", level="advanced"), hour=14)
        cast.kit(second)

        done = extend(cast, outing, 15)

        assert "S2 for Bram Sallow at 14:00" in done.words
        assert "S2 is with Wren Alder until 13:15, longer" in cast.told("outing", second.pk)

    def test_closing_time_stands_against_it(self, cast: Walk, outing: Outing) -> None:
        Outing.objects.filter(pk=outing.pk).update(ends_at=cast.at(18, 30))

        with pytest.raises(afloat.UnableToExtend, match="closes at"):
            extend(cast, outing, 120, now=cast.at(18))

    def test_lightning_stands_against_it(self, cast: Walk, outing: Outing) -> None:
        cast.now = cast.at(12, 20)
        cast.watch_the_beach(lightning=True)

        with pytest.raises(afloat.UnableToExtend, match="Lightning hold until 12:50"):
            extend(cast, outing)

    def test_too_much_wind_ahead_takes_a_reason(self, cast: Walk, outing: Outing) -> None:
        # Advanced up to 28 kn mean on the beach (common practice, no source), 14.4 m/s; 17.5 at 10 m is more.
        cast.blow(mean_ms=17.5, gust_ms=19.0)

        with pytest.raises(afloat.UnableToExtend) as refusal:
            extend(cast, outing)
        assert set(refusal.value.fields) == {"reason"}

        extend(cast, outing, reason="Stays in the lee of the spit")
        assert "Let go on because: Stays in the lee of the spit" in cast.told("outing", outing.pk)[0]

    def test_an_overdue_rider_has_to_be_seen_first(self, cast: Walk, outing: Outing) -> None:
        afloat.watch(actor=LOOKOUT, station_id=cast.tarrow.pk, now=cast.at(13, 12))

        with pytest.raises(afloat.UnableToExtend, match=r"overdue \(uncertainty\)"):
            extend(cast, outing, now=cast.at(13, 13))

        see(cast, outing, at=cast.at(13, 13))
        extend(cast, outing, now=cast.at(13, 14))
        assert again(outing).ends_at == cast.at(13, 44)

    def test_a_later_due_time_raises_its_phases_anew(self, cast: Walk, outing: Outing) -> None:
        afloat.watch(actor=LOOKOUT, station_id=cast.tarrow.pk, now=cast.at(13, 12))
        see(cast, outing, at=cast.at(13, 13))
        extend(cast, outing, now=cast.at(13, 14))

        afloat.watch(actor=LOOKOUT, station_id=cast.tarrow.pk, now=cast.at(13, 55))

        due = PhaseChange.objects.filter(phase="uncertainty").values_list("due_at", flat=True)
        assert set(due) == {cast.at(13), cast.at(13, 44)}

    @pytest.mark.parametrize("minutes", [0, -5, 181])
    def test_minutes_that_cannot_be_are_refused(self, cast: Walk, outing: Outing, minutes: int) -> None:
        with pytest.raises(afloat.UnableToExtend) as refusal:
            extend(cast, outing, minutes)

        assert set(refusal.value.fields) == {"minutes"}

    def test_the_same_request_twice_extends_once(self, cast: Walk, outing: Outing) -> None:
        key = uuid4()

        extend(cast, outing, once=key)
        extend(cast, outing, once=key)

        assert again(outing).ends_at == cast.at(13, 30)


class TestSwappingKit:
    def test_the_time_that_is_left_gets_an_outing_of_its_own(self, cast: Walk, outing: Outing) -> None:
        rest = afloat.swap_kit(actor=cast.ida, outing_id=outing.pk, now=cast.at(12))

        old = again(outing)
        assert (old.state, old.ends_at, old.ashore_at) == ("ashore", cast.at(12), cast.at(12))
        assert (rest.state, rest.starts_at, rest.ends_at) == ("booked", cast.at(12), cast.at(13))
        assert (rest.rider, rest.booking_id) == (old.rider, old.booking_id)

    def test_the_new_kit_is_launched_by_a_check_of_its_own(self, cast: Walk, outing: Outing) -> None:
        cast.now = cast.at(12)
        rest = afloat.swap_kit(actor=cast.ida, outing_id=outing.pk, now=cast.now)
        cast.take_back(outing, after=timedelta(0))
        cast.kit(rest, sail_id=cast.shed["S1"].pk, override_reason="Wants it smaller")
        cast.watch_the_beach()
        rest = again(rest)

        cast.issue(rest, kit_no=1)
        check = cast.look_over(rest, launch=True)

        assert check.passed
        assert again(rest).state == "afloat"
        assert {part.item.tag for part in cast.kit_of(rest)} & {"S1"}

    def test_the_same_request_twice_swaps_once(self, cast: Walk, outing: Outing) -> None:
        key = uuid4()

        first, second = (
            afloat.swap_kit(actor=cast.ida, outing_id=outing.pk, once=key, now=cast.at(12)) for _ in "12"
        )

        assert first == second

    def test_who_has_no_time_left_is_extended_first(self, cast: Walk, outing: Outing) -> None:
        with pytest.raises(afloat.UnableToExtend, match="Extend it first"):
            afloat.swap_kit(actor=cast.ida, outing_id=outing.pk, now=cast.at(13, 1))

    def test_who_went_early_keeps_the_hours_apart(self, cast: Walk, outing: Outing) -> None:
        # Launched at ten for an outing from eleven, and back for another sail before it would have begun.
        rest = afloat.swap_kit(actor=cast.ida, outing_id=outing.pk, now=cast.at(10, 40))

        old = again(outing)
        assert (old.starts_at, old.ends_at) == (cast.at(10), cast.at(10, 40))
        assert (rest.starts_at, rest.ends_at) == (cast.at(10, 40), cast.at(13))


class TestOutOnRecalledKit:
    @pytest.fixture
    def called(self, cast: Walk, outing: Outing) -> None:
        recall_kit(
            actor=cast.boss,
            station_id=cast.tarrow.pk,
            model_id=cast.shed["M1"].model_id,
            batch="",
            reason="Ferrule may crack",
            now=cast.now,
        )

    def test_the_page_names_rider_item_and_why(self, cast: Walk, called: None) -> None:
        (each,) = queries.afloat_page(cast.tarrow, now=cast.now).called_back
        page = signed_in(cast.desk).get(reverse("afloat", args=[cast.tarrow.slug])).content.decode()

        assert (each.item.tag, each.text) == ("M1", "Ferrule may crack")
        assert "Out with kit that was called back" in page
        assert "M1 · " in page
        assert "Ferrule may crack" in page

    def test_nobody_stands_there_once_it_is_back(self, cast: Walk, outing: Outing, called: None) -> None:
        cast.take_back(outing)

        assert queries.afloat_page(cast.tarrow, now=cast.now).called_back == ()

    def test_without_a_recall_nothing_is_said(self, cast: Walk, outing: Outing) -> None:
        page = signed_in(cast.desk).get(reverse("afloat", args=[cast.tarrow.slug])).content.decode()

        assert "called back" not in page


class TestCountingHeads:
    def test_a_count_stands_beside_the_log(self, cast: Walk, outing: Outing) -> None:
        afloat.count_heads(actor=cast.ida, station_id=cast.tarrow.pk, counted=0, now=cast.now)

        page = queries.afloat_page(cast.tarrow, now=cast.now)
        assert page.miscounted
        assert (HeadCount.objects.get().counted, HeadCount.objects.get().logged) == (0, 1)
        assert cast.told("station", cast.tarrow.pk)[0] == "Head count: 0 on the water, but 1 logged afloat"

    def test_the_next_count_that_agrees_settles_it(self, cast: Walk, outing: Outing) -> None:
        for counted, at in ((0, cast.now), (1, cast.now + MINUTE)):
            afloat.count_heads(actor=cast.ida, station_id=cast.tarrow.pk, counted=counted, now=at)

        assert not queries.afloat_page(cast.tarrow, now=cast.now + MINUTE).miscounted

    @pytest.mark.parametrize("counted", [-1, 501])
    def test_a_number_that_cannot_be_is_refused(self, cast: Walk, counted: int) -> None:
        with pytest.raises(afloat.UnableToCount):
            afloat.count_heads(actor=cast.ida, station_id=cast.tarrow.pk, counted=counted, now=cast.now)


class TestRecall:
    def test_a_second_tap_finds_the_first(self, cast: Walk, outing: Outing) -> None:
        for at in (cast.now, cast.now + MINUTE):
            afloat.recall(actor=cast.ida, station_id=cast.tarrow.pk, now=at)

        assert Recall.objects.get().at == cast.now
        assert "Called ashore with everybody" in cast.told("outing", outing.pk)

    def test_nobody_launches_until_it_is_lifted(self, cast: Walk) -> None:
        outing = cast.cleared()
        afloat.recall(actor=cast.ida, station_id=cast.tarrow.pk, reason="Fog", now=cast.now)

        with pytest.raises(afloat.UnableToLaunch, match="Lift the recall"):
            cast.launch(outing)

        afloat.lift_recall(actor=cast.jory, station_id=cast.tarrow.pk, now=cast.now)
        assert cast.launch(outing).state == "afloat"

    def test_lifting_twice_changes_nothing(self, cast: Walk) -> None:
        afloat.recall(actor=cast.ida, station_id=cast.tarrow.pk, now=cast.now)

        lifted = [afloat.lift_recall(actor=cast.jory, station_id=cast.tarrow.pk, now=cast.now) for _ in "12"]

        assert lifted == [True, False]


class TestWindOverTheLimit:
    def test_it_marks_those_whose_level_it_exceeds(self, cast: Walk, outing: Outing) -> None:
        # Advanced: 28 kn, which is 14.4 m/s; common practice, no source.
        cast.now += HOUR
        cast.watch_the_beach(mean_ms=15.0, gust_ms=17.0)

        (row,) = queries.afloat_page(cast.tarrow, now=cast.now).riders

        assert row.too_windy.startswith("The wind has risen to 29 gusting 33 kn; advanced up to 28")

    def test_gusts_alone_are_enough(self, cast: Walk, outing: Outing) -> None:
        # The gust limit is a quarter above the mean's: 18.0 m/s; common practice, no source.
        cast.now += HOUR
        cast.watch_the_beach(mean_ms=14.0, gust_ms=18.5)

        (row,) = queries.afloat_page(cast.tarrow, now=cast.now).riders

        assert row.too_windy

    def test_it_marks_nobody_within(self, cast: Walk, outing: Outing) -> None:
        (row,) = queries.afloat_page(cast.tarrow, now=cast.now).riders

        assert row.too_windy == ""


class TestMistakenLightning:
    def test_taken_back_it_holds_nobody_any_more(self, cast: Walk) -> None:
        cast.watch_the_beach(lightning=True)
        log = queries.beach_now(cast.tarrow, now=cast.now).lightning_log
        assert log is not None

        afloat.take_back_lightning(actor=cast.jory, log_id=log.pk, reason="A camera flash", now=cast.now)

        assert queries.beach_now(cast.tarrow, now=cast.now).last_lightning_at is None
        assert "A camera flash" in cast.told("station", cast.tarrow.pk)[0]

    def test_lightning_before_it_holds_on(self, cast: Walk) -> None:
        start = cast.now
        for at in (start, start + 10 * MINUTE):
            cast.now = at
            cast.watch_the_beach(lightning=True)
        log = queries.beach_now(cast.tarrow, now=cast.now).lightning_log
        assert log is not None

        afloat.take_back_lightning(actor=cast.jory, log_id=log.pk, reason="A flash", now=cast.now)

        assert queries.beach_now(cast.tarrow, now=cast.now).last_lightning_at == start

    def test_it_takes_a_reason(self, cast: Walk) -> None:
        cast.watch_the_beach(lightning=True)
        log = queries.beach_now(cast.tarrow, now=cast.now).lightning_log
        assert log is not None

        with pytest.raises(afloat.UnableToLogBeach) as refusal:
            afloat.take_back_lightning(actor=cast.jory, log_id=log.pk, reason=" ", now=cast.now)

        assert set(refusal.value.fields) == {"reason"}


class TestLoggingTheBeachOnce:
    def test_the_same_form_twice_is_one_line(self, cast: Walk) -> None:
        entry = afloat.BeachEntry(safety_boat_manned=True, instructors=1, lightning=False)
        key = uuid4()

        first, second = (
            afloat.log_beach(actor=cast.jory, station_id=cast.tarrow.pk, entry=entry, once=key, now=cast.now)
            for _ in "12"
        )

        assert first == second


def test_nobody_afloat_is_ever_absent_from_the_page(cast: Walk, outing: Outing) -> None:
    """Whatever day it is looked at: an outing that was never closed stays on the page."""
    for later in (timedelta(0), 3 * HOUR, timedelta(days=1), timedelta(days=40), -timedelta(days=1)):
        page = queries.afloat_page(cast.tarrow, now=cast.now + later)

        assert [row.outing.pk for row in page.riders] == [outing.pk]

    assert KitPart.objects.filter(outing=outing).with_rider().exists()
