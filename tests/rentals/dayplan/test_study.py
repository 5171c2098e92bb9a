"""What the shed lacked: asked for by a manager, reckoned in slices, kept, shown."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from rentals.audit.models import Entry
from rentals.dayplan import queries, services, tasks
from rentals.dayplan.models import Study
from rentals.lib.problems import NotAllowed
from rigging.allot.jsonform import to_problem
from rigging.allot.lacks import lacks
from tests.rentals.dayplan.day import WORKER, Day

DEAD = services.studying.SILENT_AFTER + timedelta(seconds=1)


@pytest.fixture
def short(day: Day) -> Day:
    """Wren and Reed at eleven, one mast for the sails that suit them: the plan serves one."""
    day.booked(day.cast.wren, day.reed())
    day.solved()
    return day


def ask(day: Day, **values: Any) -> Study:
    today = day.cast.now.date()
    usual: dict[str, Any] = {
        "actor": day.cast.boss,
        "station_id": day.cast.tarrow.pk,
        "first_day": today - timedelta(days=7),
        "last_day": today,
        "now": day.cast.now,
    }
    return services.ask_for_study(**{**usual, **values})


def work(study: Study, slice_s: float = 60.0, turns: int = 1) -> Study:
    for _turn in range(turns):
        taken = services.take_slice(actor=WORKER, now=study.asked_at)
        assert taken is not None
        tasks.study_on(WORKER, taken, slice_s)
    study.refresh_from_db()
    return study


def test_it_names_the_mast_that_would_have_served_one_more(short: Day) -> None:
    study = work(ask(short))

    best = queries.bought(study)[0]

    assert (study.state, study.progress) == ("ready", 100)
    assert (best.kind, best.riders, best.days) == ("mast", 1, (short.cast.now.date(),))
    assert best.words == "1 rider more, on 1 day."
    assert "Found what the shed lacked over 1 days" in Entry.objects.about("study", study.pk)[0].text


def test_it_finds_in_slices_what_the_core_finds_at_once(short: Day) -> None:
    study = ask(short)
    turns = 0
    while study.state != "ready":
        work(study, slice_s=0.0)
        turns += 1
    (plan_id,) = study.days.values()
    whole = lacks({short.cast.now.date().isoformat(): to_problem(queries.inputs_of([plan_id])[plan_id])})

    assert turns > 2
    assert [(each.name, each.points, each.riders) for each in queries.bought(study)] == [
        (each.name, each.points, each.riders) for each in whole.purchases
    ]


def test_it_looks_at_the_plan_that_was_asked_for_most_riders(short: Day) -> None:
    first = queries.planned_days(short.cast.tarrow, short.cast.now.date(), short.cast.now.date())
    short.booked(short.cast.rider("Fern Sallow", level="advanced"), hour=14)
    larger = short.solved()

    found = queries.planned_days(short.cast.tarrow, short.cast.now.date(), short.cast.now.date())

    assert list(found.values()) == [larger.pk]
    assert found != first


class TestAsking:
    def test_a_span_without_a_plan_is_refused(self, short: Day) -> None:
        long_ago = short.cast.now.date() - timedelta(days=30)

        with pytest.raises(services.UnableToPlan, match="No day plan") as refused:
            ask(short, first_day=long_ago, last_day=long_ago)
        assert list(refused.value.fields) == ["first_day"]

    @pytest.mark.parametrize("days", [-1, 367])
    def test_a_span_that_is_none_or_too_long_is_refused(self, short: Day, days: int) -> None:
        with pytest.raises(services.UnableToPlan, match="within a year"):
            ask(short, first_day=short.cast.now.date() - timedelta(days=days))

    def test_a_second_one_is_refused_while_one_is_under_way(self, short: Day) -> None:
        ask(short)

        with pytest.raises(services.UnableToMoveStudy):
            ask(short)

    def test_only_a_manager_asks(self, short: Day) -> None:
        for actor in (short.cast.ida, short.cast.jory):
            with pytest.raises(NotAllowed):
                ask(short, actor=actor)


class TestTheWorker:
    def test_who_dies_loses_a_slice_and_the_next_goes_on(self, short: Day) -> None:
        study = work(ask(short), slice_s=0.0)
        looked = study.looks
        assert services.take_slice(actor=WORKER, now=short.cast.now)

        assert services.take_slice(actor=WORKER, now=short.cast.now + DEAD / 2) is None
        again = services.take_slice(actor=WORKER, now=short.cast.now + DEAD)

        assert again is not None
        assert again.looks == looked != {}

    def test_it_is_given_up_when_workers_die_over_it_again_and_again(self, short: Day) -> None:
        study = ask(short)
        for turn in range(4):
            services.take_slice(actor=WORKER, now=short.cast.now + turn * DEAD)

        study.refresh_from_db()
        assert (study.state, study.deaths) == ("failed", 2)

    def test_what_was_cancelled_meanwhile_is_not_kept(self, short: Day) -> None:
        study = ask(short)
        taken = services.take_slice(actor=WORKER, now=short.cast.now)
        services.cancel_study(actor=short.cast.boss, study_id=study.pk, now=short.cast.now)
        assert taken is not None

        tasks.study_on(WORKER, taken)

        study.refresh_from_db()
        assert (study.state, study.result) == ("cancelled", None)
        with pytest.raises(services.UnableToMoveStudy):
            services.cancel_study(actor=short.cast.boss, study_id=study.pk, now=short.cast.now)


@pytest.mark.both_engines
def test_the_database_keeps_what_came_of_it(short: Day) -> None:
    study = work(ask(short))

    changes: list[dict[str, Any]] = [{"result": {}}, {"state": "waiting"}, {"last_day": study.first_day}]
    for change in changes:
        with pytest.raises(DatabaseError), transaction.atomic():
            Study.objects.filter(pk=study.pk).update(**change)


class TestThePage:
    def test_it_asks_shows_how_far_and_what_was_found(self, short: Day, client: Client) -> None:
        client.force_login(short.cast.manager)
        page = reverse("lacks", args=["tarrow-lagoon"])
        today = short.cast.now.date().isoformat()

        client.post(page, {"first_day": today, "last_day": today})
        waiting = client.get(page).content.decode()
        work(Study.objects.get())
        with CaptureQueriesContext(connection) as captured:
            done = client.get(page).content.decode()

        assert "<progress" in waiting
        assert "1 rider more, on 1 day." in done
        assert len(captured) <= 6

    def test_a_wrong_span_is_said_beside_the_field(self, short: Day, client: Client) -> None:
        client.force_login(short.cast.manager)

        answer = client.post(
            reverse("lacks", args=["tarrow-lagoon"]), {"first_day": "2020-01-01", "last_day": "2020-01-02"}
        )

        assert answer.status_code == 422
        assert "No day plan was asked for in that span" in answer.content.decode()
