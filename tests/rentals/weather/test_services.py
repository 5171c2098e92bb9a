"""Taking wind in: by hand, from a file, and from sources that fail without blanking what was good."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest

from rentals.lib.access import System, service
from rentals.weather.fetched import Fetched
from rentals.weather.formats.reading import Forecast, ForecastHour, Reading, Readings
from rentals.weather.models import Hour, Observation, Run, Source
from rentals.weather.queries import day_wind, hours_between, latest_observation, source_states
from rentals.weather.services import (
    LEASE,
    Errand,
    HandHour,
    UnableToTakeWind,
    end_errand,
    enter_by_hand,
    take_errand,
    take_file,
)
from tests.rentals.walk import DAY, HOUR, MINUTE, Walk
from tests.rentals.weather.samples import sample

FETCHER = service(System.FETCH)


def by_hand(cast: Walk, *, now: datetime | None = None, **values: Any) -> Run:
    usual: dict[str, Any] = {
        "starts_at": cast.at(11),
        "ends_at": cast.at(13),
        "mean_ms": 8.0,
        "gust_ms": 10.0,
        "from_deg": 330.0,
    }
    hour = HandHour(**{**usual, **values})
    return enter_by_hand(actor=cast.jory, station_id=cast.tarrow.pk, hour=hour, now=now or cast.now)


def means(cast: Walk, start: int = 8, end: int = 20) -> list[tuple[int, int, float]]:
    """Hours of the day as blended: from, until (on the clock at Tarrow Lagoon), mean."""
    found = hours_between(cast.tarrow, cast.at(start), cast.at(end))
    return [
        (cast.tarrow.local(hour.start).hour, cast.tarrow.local(hour.end).hour, hour.mean_ms) for hour in found
    ]


class TestByHand:
    def test_it_is_kept_as_a_forecast_and_told(self, cast: Walk) -> None:
        run = by_hand(cast)

        (hour,) = Hour.objects.filter(run=run)
        assert (run.kind, run.received_at) == ("hand", cast.now)
        assert (hour.starts_at, hour.ends_at, hour.mean_ms) == (cast.at(11), cast.at(13), 8.0)
        assert cast.told("station", cast.tarrow.pk)[0].startswith("Took in a forecast of 1 steps")

    @pytest.mark.parametrize(
        ("wrong", "field"),
        [
            ({"ends_at": -1}, "ends_at"),
            ({"ends_at": 0}, "ends_at"),
            ({"ends_at": 25 * 60}, "ends_at"),
            ({"gust_ms": 7.9}, "gust"),
        ],
        ids=["ends before it starts", "ends as it starts", "longer than a day", "gust under the mean"],
    )
    def test_what_cannot_blow_is_said_beside_its_field(
        self, cast: Walk, wrong: dict[str, Any], field: str
    ) -> None:
        if "ends_at" in wrong:
            wrong = {"ends_at": cast.at(11) + wrong["ends_at"] * MINUTE}

        with pytest.raises(UnableToTakeWind) as refusal:
            by_hand(cast, **wrong)

        assert set(refusal.value.fields) == {field}
        assert not Run.objects.exists()

    def test_a_time_without_zone_is_refused(self, cast: Walk) -> None:
        with pytest.raises(UnableToTakeWind, match="with their zone"):
            by_hand(cast, starts_at=cast.at(11).replace(tzinfo=None))

    @pytest.mark.parametrize(
        "wind",
        [{"mean_ms": 80.0, "gust_ms": None}, {"mean_ms": -1.0}, {"from_deg": 400.0}],
        ids=["storm", "negative", "direction"],
    )
    def test_a_wind_out_of_range_is_refused_in_words(self, cast: Walk, wind: dict[str, Any]) -> None:
        with pytest.raises(UnableToTakeWind):
            by_hand(cast, **wind)

    @pytest.mark.parametrize("day", [date(2027, 3, 28), date(2027, 10, 31)], ids=["spring", "autumn"])
    def test_over_a_change_of_the_clocks_it_ends_when_it_was_said_to(self, cast: Walk, day: date) -> None:
        """Lisbon's clocks change at 01:00 UTC; IANA time zone database."""
        start = datetime.combine(day, time(), cast.tarrow.zone)
        end = start.replace(hour=6)

        run = by_hand(cast, now=start - DAY, starts_at=start, ends_at=end)

        assert Hour.objects.get(run=run).ends_at == end.astimezone(UTC)

    def test_the_hour_that_the_clocks_show_twice_may_be_entered(self, cast: Walk) -> None:
        first = datetime(2027, 10, 31, 1, 30, tzinfo=cast.tarrow.zone)

        run = by_hand(cast, now=first - DAY, starts_at=first, ends_at=first.replace(fold=1))

        hour = Hour.objects.get(run=run)
        assert hour.ends_at - hour.starts_at == HOUR


class TestFiles:
    def load(self, cast: Walk, content: str, **values: Any) -> Any:
        return take_file(
            actor=cast.jory, station_id=cast.tarrow.pk, content=content.encode(), now=cast.now, **values
        )

    def test_a_met_service_forecast_is_kept_hour_by_hour(self, cast: Walk) -> None:
        took = self.load(cast, sample("locationforecast_compact.json"))

        assert took.kind == "locationforecast"
        assert took.kept == Hour.objects.count() > 20

    def test_missing_gusts_are_said(self, cast: Walk) -> None:
        took = self.load(cast, sample("locationforecast_compact.json"))

        assert any("gust" in note for note in took.notes)

    def test_a_buoy_s_readings_are_kept_once(self, cast: Walk) -> None:
        first = self.load(cast, sample("ndbc_44013_stdmet.txt"))
        again = self.load(cast, sample("ndbc_44013_stdmet.txt"))

        assert (first.kept, again.kept) == (Observation.objects.count(), 0)

    def test_an_anemometer_s_unit_and_height_are_taken_as_told(self, cast: Walk) -> None:
        """1 kn is 1852 m an hour: The International System of Units, 8th brochure, table 8."""
        csv = "time,mean,gust,direction\n2027-07-14 09:50,10,14,330\n"

        self.load(cast, csv, unit="kn", height_m=4.0)

        reading = Observation.objects.get()
        assert reading.mean_ms == pytest.approx(5.144, abs=0.001)
        assert (reading.height_m, reading.at) == (4.0, cast.at(9, 50))

    def test_rows_left_out_are_named_by_their_line(self, cast: Walk) -> None:
        csv = "time,mean,gust,direction\n2027-07-14 09:40,6,8,330\n2027-07-14 09:50,six,8,330\n"

        took = self.load(cast, csv)

        assert took.kept == 1
        assert any(note.startswith("Line 3:") for note in took.notes)

    @pytest.mark.parametrize(
        "content",
        [
            "",
            "not a forecast",
            sample("locationforecast_compact.json")[:5000],
            sample("locationforecast_compact.json").replace('"wind_speed":"m/s"', '"wind_speed":"furlong"'),
        ],
        ids=["empty", "something else", "truncated", "in another unit"],
    )
    def test_what_cannot_be_read_says_what_to_do_and_keeps_nothing(self, cast: Walk, content: str) -> None:
        with pytest.raises(UnableToTakeWind) as refusal:
            self.load(cast, content)

        assert set(refusal.value.fields) == {"file"}
        assert not Run.objects.exists()


class TestWhichWindCounts:
    def test_the_newest_run_counts_where_it_speaks_and_older_ones_beside_it(self, cast: Walk) -> None:
        by_hand(cast, starts_at=cast.at(8), ends_at=cast.at(20), mean_ms=5.0, gust_ms=None)
        by_hand(cast, now=cast.now + MINUTE, mean_ms=9.0)

        assert means(cast) == [(8, 11, 5.0), (11, 13, 9.0), (13, 20, 5.0)]

    def test_it_is_the_time_it_came_in_that_counts(self, cast: Walk) -> None:
        by_hand(cast, now=cast.now + HOUR, mean_ms=9.0)
        by_hand(cast, now=cast.now, mean_ms=5.0)

        assert means(cast) == [(11, 13, 9.0)]

    def test_a_wind_entered_by_hand_counts_before_a_forecast_loaded_earlier(self, cast: Walk) -> None:
        forecast = Forecast(
            issued_at=cast.now,
            hours=tuple(
                ForecastHour(starts_at=cast.at(hour).astimezone(UTC), minutes=60, mean_ms=4.0)
                for hour in range(8, 20)
            ),
        )
        fetched(cast, forecast)
        by_hand(cast, now=cast.now + MINUTE, mean_ms=9.0)

        assert {mean for start, _end, mean in means(cast) if 11 <= start < 13} == {9.0}
        assert {mean for start, _end, mean in means(cast) if not 11 <= start < 13} == {4.0}

    def test_another_station_s_wind_does_not_blow_here(self, cast: Walk) -> None:
        hour = HandHour(starts_at=cast.at(11), ends_at=cast.at(13), mean_ms=8.0, gust_ms=None, from_deg=None)
        enter_by_hand(actor=cast.jory, station_id=cast.kettle.pk, hour=hour, now=cast.now)

        assert means(cast) == []

    def test_a_wind_entered_a_week_ahead_counts_on_its_day(self, cast: Walk) -> None:
        by_hand(cast, now=cast.now - 7 * DAY)

        assert means(cast) == [(11, 13, 8.0)]

    def test_a_wind_further_ahead_than_counts_is_refused(self, cast: Walk) -> None:
        with pytest.raises(UnableToTakeWind, match="next two weeks"):
            by_hand(cast, now=cast.now - 15 * DAY)


class TestHowOldItIs:
    @pytest.mark.parametrize(
        ("age", "said"),
        [(timedelta(0), ""), (12 * HOUR, ""), (12 * HOUR + MINUTE, "more than twelve hours old")],
    )
    def test_a_stale_forecast_says_so_and_still_shows(self, cast: Walk, age: timedelta, said: str) -> None:
        by_hand(cast, now=cast.now - age)

        wind = day_wind(cast.tarrow, cast.now.date(), now=cast.now)

        assert said in wind.stale
        assert bool(wind.stale) is bool(said)
        assert len(wind.hours) == 1

    def test_without_any_it_says_what_to_do(self, cast: Walk) -> None:
        assert "Enter the wind by hand" in day_wind(cast.tarrow, cast.now.date(), now=cast.now).stale

    @pytest.mark.parametrize(("age", "found"), [(0, True), (59, True), (60, False), (-1, False)])
    def test_a_measured_wind_counts_for_an_hour(self, cast: Walk, age: int, found: bool) -> None:
        Observation.objects.create(
            station=cast.tarrow, kind="hand", at=cast.now - age * MINUTE, mean_ms=8, height_m=2
        )

        assert (latest_observation(cast.tarrow, now=cast.now) is not None) is found


# -- sources


def source(cast: Walk, name: str = "taf", **values: Any) -> Source:
    usual = {"station": cast.tarrow, "kind": "taf", "url": f"https://met.invalid/{name}"}
    return Source.objects.create(**{**usual, **values})


def errand(now: datetime) -> Errand:
    taken = take_errand(actor=FETCHER, now=now)
    assert taken is not None
    return taken


def end(taken: Errand, now: datetime, **values: Any) -> Source:
    usual: dict[str, Any] = {"fetched": Fetched(status="unchanged"), "content": None, "error": None}
    end_errand(actor=FETCHER, errand=taken, now=now, **{**usual, **values})
    return Source.objects.get(pk=taken.source_id)


def fetched(cast: Walk, content: Forecast | Readings, now: datetime | None = None) -> Source:
    source(cast, f"source-{Source.objects.count()}")
    moment = now or cast.now
    return end(errand(moment), moment, fetched=Fetched(status="new", body=b""), content=content)


def forecast(cast: Walk, mean_ms: float = 8.0) -> Forecast:
    hour = ForecastHour(starts_at=cast.at(11).astimezone(UTC), minutes=120, mean_ms=mean_ms)
    return Forecast(issued_at=cast.now, hours=(hour,))


class TestTakingAnErrand:
    def test_a_source_that_is_due_is_taken_by_one_worker(self, cast: Walk) -> None:
        due = source(cast)

        assert errand(cast.now).source_id == due.pk
        assert take_errand(actor=FETCHER, now=cast.now) is None

    def test_a_worker_that_died_on_its_way_is_made_up_for(self, cast: Walk) -> None:
        source(cast)
        errand(cast.now)

        assert take_errand(actor=FETCHER, now=cast.now + LEASE - MINUTE) is None
        assert errand(cast.now + LEASE)

    def test_one_never_asked_comes_first_then_the_longest_waiting(self, cast: Walk) -> None:
        late = source(cast, "late", next_try_at=cast.now - HOUR)
        later = source(cast, "later", next_try_at=cast.now - MINUTE)
        fresh = source(cast, "fresh")

        assert [errand(cast.now).source_id for _turn in range(3)] == [fresh.pk, late.pk, later.pk]

    @pytest.mark.parametrize("values", [{"active": False}, {"next_try_at": datetime(2028, 1, 1, tzinfo=UTC)}])
    def test_one_switched_off_or_not_due_is_left_alone(self, cast: Walk, values: dict[str, Any]) -> None:
        source(cast, **values)

        assert take_errand(actor=FETCHER, now=cast.now) is None

    def test_it_asks_with_what_was_answered_last_time(self, cast: Walk) -> None:
        source(cast, etag='"7"', last_modified="Wed, 14 Jul 2027 08:00:00 GMT", height_m=8.0)

        taken = errand(cast.now)

        assert (taken.etag, taken.last_modified, taken.height_m) == (
            '"7"',
            "Wed, 14 Jul 2027 08:00:00 GMT",
            8.0,
        )


class TestEndingAnErrand:
    def test_what_it_brought_counts_and_the_source_is_fresh(self, cast: Walk) -> None:
        found = fetched(cast, forecast(cast))

        assert means(cast) == [(11, 13, 8.0)]
        assert (found.failures, found.error, found.succeeded_at) == (0, "", cast.now)
        assert found.next_try_at == cast.now + timedelta(minutes=found.every_min)

    def test_readings_are_kept_too(self, cast: Walk) -> None:
        reading = Reading(at=cast.at(9, 50).astimezone(UTC), mean_ms=6.0, height_m=10.0)

        fetched(cast, Readings(readings=(reading,)))

        assert latest_observation(cast.tarrow, now=cast.now) is not None

    def test_unchanged_is_a_success_that_keeps_what_there_is(self, cast: Walk) -> None:
        source(cast)

        found = end(errand(cast.now), cast.now, fetched=Fetched(status="unchanged", etag='"8"'))

        assert (found.succeeded_at, found.etag) == (cast.now, '"8"')
        assert not Run.objects.exists()

    def test_it_is_not_asked_again_before_its_answer_expires(self, cast: Walk) -> None:
        source(cast)
        expires = cast.now + 6 * HOUR

        found = end(errand(cast.now), cast.now, fetched=Fetched(status="unchanged", expires_at=expires))

        assert found.next_try_at == expires

    def test_a_failure_never_blanks_the_last_good_forecast(self, cast: Walk) -> None:
        fetched(cast, forecast(cast))
        later = cast.now + 2 * HOUR

        end(errand(later), later, fetched=Fetched(status="failed"), error="The source did not answer.")

        assert means(cast) == [(11, 13, 8.0)]
        (state,) = source_states(cast.jory, cast.tarrow, now=later)
        assert (state.word, state.succeeded_at) == ("failing", cast.now)
        assert state.sentence == "The source did not answer. The last good forecast stays in force."

    def test_each_failure_waits_longer(self, cast: Walk) -> None:
        source(cast)
        at, waits = cast.now, []
        for _try in range(4):
            found = end(errand(at), at, fetched=Fetched(status="failed"), error="No answer.")
            assert found.next_try_at is not None
            waits.append(found.next_try_at - at)
            at = found.next_try_at

        assert waits == sorted(waits)
        assert waits[-1] > 4 * waits[0]

    def test_it_waits_as_long_as_the_source_asks(self, cast: Walk) -> None:
        source(cast)

        found = end(
            errand(cast.now), cast.now, fetched=Fetched(status="failed", retry_after_s=7200), error="Busy."
        )

        assert found.next_try_at is not None
        assert found.next_try_at >= cast.now + 2 * HOUR

    def test_a_success_forgets_the_failures_before_it(self, cast: Walk) -> None:
        source(cast, failures=5, error="No answer.", next_try_at=cast.now)

        found = end(errand(cast.now), cast.now, content=forecast(cast))

        assert (found.failures, found.error) == (0, "")


class TestWhatASourceIsSaidToBe:
    @pytest.mark.parametrize(
        ("values", "word"),
        [
            ({"active": False}, "off"),
            ({}, "waiting"),
            ({"failures": 1, "error": "No answer."}, "failing"),
            ({"succeeded_at": 0}, "fresh"),
            ({"succeeded_at": 12 * 60}, "fresh"),
            ({"succeeded_at": 12 * 60 + 1}, "stale"),
        ],
    )
    def test_it_is_one_word(self, cast: Walk, values: dict[str, Any], word: str) -> None:
        if "succeeded_at" in values:
            values = {"succeeded_at": cast.now - values["succeeded_at"] * MINUTE}
        source(cast, **values)

        (state,) = source_states(cast.jory, cast.tarrow, now=cast.now)

        assert state.word == word
        assert state.sentence

    def test_a_source_that_never_worked_promises_nothing(self, cast: Walk) -> None:
        source(cast, failures=3, error="No answer.")

        (state,) = source_states(cast.jory, cast.tarrow, now=cast.now)

        assert "It has not worked yet" in state.sentence

    def test_a_stranger_is_told_nothing(self, cast: Walk) -> None:
        source(cast)

        assert source_states(cast.rhys, cast.tarrow, now=cast.now) == ()
