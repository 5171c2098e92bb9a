"""Incidents: what is held back at once, what is filled in, and that nothing told is ever lost."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest

from rentals.bench import services as bench
from rentals.bench.models import Job
from rentals.incidents import queries, services
from rentals.incidents.models import Incident, Telling
from rentals.incidents.services import IncidentMovedOn, UnableToTell
from tests.rentals.incidents.tell import reported, told
from tests.rentals.walk import HOUR, Walk, again


class TestItemsInvolved:
    def test_those_in_the_rack_are_held_back_at_once(self, cast: Walk) -> None:
        reported(cast, "S1", "M1")

        assert {cast.state_of("S1"), cast.state_of("M1")} == {"held_back"}
        assert Job.objects.filter(state="open").count() == 2

    def test_those_with_a_rider_are_held_back_at_once_and_stay_so_when_they_come_back(
        self, cast: Walk
    ) -> None:
        outing = cast.out()
        reported(cast, "B1", outing_id=outing.pk)
        assert cast.state_of("B1") == "held_back"

        cast.take_back(outing, stays_rigged=True)

        assert again(outing).state == "closed"
        assert (cast.state_of("B1"), cast.state_of("M1")) == ("held_back", "ready")

    def test_a_fault_found_on_return_goes_to_the_bench_with_it(self, cast: Walk) -> None:
        outing = cast.out()
        reported(cast, "B1", outing_id=outing.pk)

        cast.take_back(outing, faults={"B1": "Clamp cracked"})

        assert cast.state_of("B1") == "on_bench"
        assert Job.objects.filter(item=cast.shed["B1"], state="open").count() == 2

    def test_a_rider_still_on_the_beach_is_not_let_go_with_one(self, cast: Walk) -> None:
        outing = cast.issued()
        reported(cast, "B1", outing_id=outing.pk)

        check = cast.look_over(outing, launch=True)

        assert not check.passed
        assert "Swap the kit: B1 is held back" in " ".join(
            gate["text"] for gate in check.gates if not gate["passed"]
        )

    def test_the_bench_does_not_release_one_that_is_still_with_a_rider(self, cast: Walk) -> None:
        outing = cast.out()
        reported(cast, "B1", outing_id=outing.pk)
        job = cast.mend(Job.objects.get(), work="Looked over")

        with pytest.raises(bench.UnableToMend, match="still with a rider"):
            cast.release(job)

        cast.take_back(outing)
        cast.release(job)
        assert cast.state_of("B1") == "ready"

    def test_a_withdrawn_one_is_named_and_left_alone(self, cast: Walk) -> None:
        bench.withdraw(actor=cast.boss, item_id=cast.shed["M3"].pk, reason="Broken", now=cast.now)

        incident = reported(cast, "M3")

        assert cast.state_of("M3") == "withdrawn"
        assert [each.item.tag for each in queries.whole_of(incident).items] == ["M3"]

    def test_one_on_the_bench_gets_another_job(self, cast: Walk) -> None:
        cast.faulty("S1")
        reported(cast, "S1")

        assert cast.state_of("S1") == "on_bench"
        assert Job.objects.filter(item=cast.shed["S1"]).count() == 2

    def test_its_own_record_tells_of_the_incident(self, cast: Walk) -> None:
        incident = reported(cast, "S1")

        assert cast.told("item", cast.shed["S1"].pk)[0] == f"Held back: incident {incident.pk}, near miss"

    def test_an_item_of_another_station_is_refused_and_nothing_is_kept(self, cast: Walk) -> None:
        elsewhere = cast.one_more("K1", like="S1", station=cast.kettle)

        with pytest.raises(UnableToTell) as refusal:
            services.report_incident(
                actor=cast.boss,
                station_id=cast.tarrow.pk,
                told=told(cast),
                item_ids=[elsewhere.pk],
                now=cast.now,
            )

        assert "items" in refusal.value.fields
        assert not Incident.objects.exists()


class TestWhatIsFilledIn:
    def test_the_wind_measured_at_that_time(self, cast: Walk) -> None:
        cast.watch_the_beach(mean_ms=7.5, gust_ms=9.0, from_deg=330.0, water_c=18.0)
        telling = reported(cast, happened_at=cast.now).tellings.get()

        assert telling.weather["known"] == "measured"
        assert telling.weather["beach_mean_ms"] == pytest.approx(7.5, rel=0.01)
        assert (telling.weather["water_c"], telling.weather["from_deg"]) == (18.0, 330.0)

    def test_the_forecast_where_nobody_measured(self, cast: Walk) -> None:
        cast.blow(mean_ms=11.0, gust_ms=13.0)
        telling = reported(cast).tellings.get()

        assert (telling.weather["known"], telling.weather["mean_10_m_ms"]) == ("forecast", 11.0)

    def test_nothing_where_nobody_knows(self, cast: Walk) -> None:
        telling = reported(cast).tellings.get()

        assert (telling.weather["known"], telling.weather["mean_10_m_ms"]) == ("unknown", None)

    def test_a_corrected_time_brings_the_weather_of_that_time(self, cast: Walk) -> None:
        incident = reported(cast)
        cast.blow(mean_ms=11.0)

        telling = correct(cast, incident, happened_at=cast.now - timedelta(minutes=90))

        assert telling.weather["mean_10_m_ms"] == 11.0

    def test_the_outing_s_rider(self, cast: Walk) -> None:
        outing = cast.out()

        assert reported(cast, outing_id=outing.pk).tellings.get().rider == outing.rider


def correct(cast: Walk, incident: Incident, **other: Any) -> Telling:
    named = ("why", "version", "item_ids", "actor")
    values: dict[str, Any] = {name: other.pop(name) for name in named if name in other}
    usual: dict[str, Any] = {"actor": cast.boss, "why": "Heard the witness"}
    return services.correct_incident(
        incident_id=incident.pk, told=told(cast, **other), now=cast.now, **(usual | values)
    )


class TestCorrections:
    def test_what_was_told_before_stays(self, cast: Walk) -> None:
        incident = reported(cast)
        correct(cast, incident, kind="injury", severity="minor")

        kinds = list(incident.tellings.order_by("version").values_list("kind", flat=True))
        assert kinds == ["near_miss", "injury"]
        assert queries.whole_of(incident).now.kind == "injury"

    def test_a_list_shows_the_newest_telling_once(self, cast: Walk) -> None:
        correct(cast, reported(cast), kind="injury")

        assert [row.telling.kind for row in queries.incidents_at(cast.tarrow)] == ["injury"]

    def test_items_named_now_are_held_back_as_well(self, cast: Walk) -> None:
        incident = reported(cast, "S1")
        correct(cast, incident, item_ids=[cast.shed["S1"].pk, cast.shed["M1"].pk])

        assert cast.state_of("M1") == "held_back"
        assert Job.objects.count() == 2

    def test_it_says_why(self, cast: Walk) -> None:
        with pytest.raises(UnableToTell, match="why it is corrected"):
            correct(cast, reported(cast), kind="injury", why=" ")

    def test_one_that_changes_nothing_is_refused(self, cast: Walk) -> None:
        with pytest.raises(UnableToTell, match="Nothing differs"):
            correct(cast, reported(cast))

    def test_of_two_who_correct_the_same_telling_the_second_is_told(self, cast: Walk) -> None:
        incident = reported(cast)
        correct(cast, incident, kind="injury", version=1)

        with pytest.raises(IncidentMovedOn, match="corrected this incident meanwhile"):
            correct(cast, incident, kind="loss", version=1)


class TestWhatIsRefused:
    @pytest.mark.parametrize(
        ("field", "value"),
        [
            ("kind", "earthquake"),
            ("severity", ""),
            ("cause", "fate"),
            ("words", "  "),
            ("words", "x" * 4001),
            ("outing_id", 999_999),
            ("rider_id", 999_999),
        ],
    )
    def test_it_says_what_to_do_beside_the_field(self, cast: Walk, field: str, value: object) -> None:
        with pytest.raises(UnableToTell) as refusal:
            reported(cast, **{field: value})

        assert set(refusal.value.fields) == {field}

    @pytest.mark.parametrize("late", [timedelta(minutes=1), timedelta(days=-731)])
    def test_a_time_to_come_or_long_ago(self, cast: Walk, late: timedelta) -> None:
        with pytest.raises(UnableToTell, match="not in the future"):
            reported(cast, happened_at=cast.now + late)

    def test_everything_that_is_off_is_said_at_once(self, cast: Walk) -> None:
        with pytest.raises(UnableToTell) as refusal:
            reported(cast, kind="", words="")

        assert set(refusal.value.fields) == {"kind", "words"}


class TestFollowUp:
    def test_notes_are_added(self, cast: Walk) -> None:
        incident = reported(cast)
        for words in ("Rang the rider", "Ordered a clamp"):
            services.follow_up(actor=cast.ida, incident_id=incident.pk, words=words, now=cast.now)

        assert [each.words for each in queries.whole_of(incident).follow_ups] == [
            "Rang the rider",
            "Ordered a clamp",
        ]

    def test_a_double_tap_notes_once(self, cast: Walk) -> None:
        incident, key = reported(cast), uuid4()
        for _tap in range(2):
            services.follow_up(
                actor=cast.ida, incident_id=incident.pk, words="Rang the rider", once=key, now=cast.now
            )

        assert len(queries.whole_of(incident).follow_ups) == 1

    def test_a_manager_closes_it_and_opens_it_again_and_all_of_it_stays(self, cast: Walk) -> None:
        incident = reported(cast)
        services.close_incident(
            actor=cast.boss, incident_id=incident.pk, words="New clamps bought", now=cast.now
        )
        assert queries.whole_of(incident).closed

        services.reopen_incident(
            actor=cast.boss, incident_id=incident.pk, words="It slipped again", now=cast.now
        )

        whole = queries.whole_of(incident)
        assert not whole.closed
        assert [each.step for each in whole.follow_ups] == ["closed", "reopened"]

    def test_it_is_not_closed_twice(self, cast: Walk) -> None:
        incident = reported(cast)
        services.close_incident(actor=cast.boss, incident_id=incident.pk, words="Done", now=cast.now)

        with pytest.raises(IncidentMovedOn, match="closed already"):
            services.close_incident(actor=cast.boss, incident_id=incident.pk, words="Done", now=cast.now)

    def test_what_is_not_closed_is_not_opened(self, cast: Walk) -> None:
        with pytest.raises(IncidentMovedOn, match="open already"):
            services.reopen_incident(
                actor=cast.boss, incident_id=reported(cast).pk, words="Again", now=cast.now
            )

    def test_it_says_what_was_learnt(self, cast: Walk) -> None:
        with pytest.raises(UnableToTell):
            services.close_incident(actor=cast.boss, incident_id=reported(cast).pk, words=" ", now=cast.now)

    def test_open_ones_come_first(self, cast: Walk) -> None:
        old, new = reported(cast, happened_at=cast.now - 3 * HOUR), reported(cast)
        services.close_incident(actor=cast.boss, incident_id=new.pk, words="Done", now=cast.now)

        assert [row.incident for row in queries.incidents_at(cast.tarrow)] == [old, new]
        assert [row.incident for row in queries.incidents_at(cast.tarrow, open_only=True)] == [old]


class TestWithoutNames:
    def test_it_holds_no_name_no_words_and_no_exact_time(self, cast: Walk) -> None:
        (outing,) = cast.booked(cast.fern)
        reported(
            cast,
            "S2",
            kind="injury",
            outing_id=outing.pk,
            witness="Moss Hazel, 0700 100 200",
            place="Off Alder's jetty",
        )

        (row,) = queries.nameless(cast.tarrow)

        said = repr(row)
        for name in ("Fern", "Alder", "Moss", "0700", "boom came off"):
            assert name not in said
        assert (row.month, row.hour, row.kind, row.level, row.age) == (
            "2027-07", 9, "injury", "improver", "12 to 17"
        )  # fmt: skip
        assert (row.item_kinds, row.booking, row.closed) == ("sail", "rental", "no")

    def test_it_asks_no_more_for_more_incidents(self, cast: Walk, django_assert_num_queries: Any) -> None:
        for _more in range(3):
            reported(cast)

        with django_assert_num_queries(3):  # tellings, items, turns
            assert len(queries.nameless(cast.tarrow)) == 3
