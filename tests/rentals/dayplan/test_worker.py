"""The worker: what it takes, what happens when it dies, and that it stops when it is not wanted."""

from datetime import timedelta
from typing import Any

import pytest

from rentals.audit.models import Entry
from rentals.dayplan import services, tasks
from rentals.dayplan.models import Plan
from tests.rentals.dayplan.day import WORKER, Day

LONG = services.SILENT_AFTER + timedelta(seconds=1)


class TestAWorkerThatDies:
    def test_its_plan_is_taken_up_again_after_a_while(self, day: Day) -> None:
        day.two()
        plan = day.ask()
        assert services.take_plan(actor=WORKER, now=day.cast.now)

        assert services.take_plan(actor=WORKER, now=day.cast.now + LONG / 2) is None
        again = services.take_plan(actor=WORKER, now=day.cast.now + LONG)

        assert again is not None
        assert (again.plan_id, again.tries) == (plan.pk, 2)
        plan.refresh_from_db()
        assert "stopped in the middle of it; trying again" in plan.words

    def test_a_plan_over_which_two_died_is_given_up_and_the_old_one_stays_in_force(self, day: Day) -> None:
        day.two()
        old, plan = day.accepted(), day.ask()
        for turn in range(3):
            services.take_plan(actor=WORKER, now=day.cast.now + turn * LONG)

        plan.refresh_from_db()
        old.refresh_from_db()
        assert (plan.state, old.state) == ("failed", "accepted")
        assert "What was in force stays in force" in plan.words
        assert Entry.objects.about("plan", plan.pk).first() is not None

    def test_who_was_thought_dead_keeps_nothing_when_another_took_over(self, day: Day) -> None:
        day.two()
        plan = day.ask()
        slow = services.take_plan(actor=WORKER, now=day.cast.now)
        services.take_plan(actor=WORKER, now=day.cast.now + LONG)
        assert slow is not None

        with pytest.raises(tasks.NotWanted):
            tasks.work_on(WORKER, slow)

        plan.refresh_from_db()
        assert (plan.state, plan.result) == ("solving", None)


class TestCancelling:
    def test_a_plan_that_waits_is_not_taken(self, day: Day) -> None:
        day.two()
        services.cancel_plan(actor=day.cast.jory, plan_id=day.ask().pk, now=day.cast.now)

        assert services.take_plan(actor=WORKER, now=day.cast.now) is None

    def test_in_the_middle_of_solving_the_worker_stops(
        self, day: Day, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        day.two()
        plan = day.ask()
        reached: list[str] = []

        def cancel_and_look(problem: Any, seconds: float, pulse: tasks.Pulse) -> None:
            reached.append("solving")
            services.cancel_plan(actor=day.cast.jory, plan_id=plan.pk, now=day.cast.now)
            pulse()
            reached.append("past the stage")

        monkeypatch.setattr(tasks, "solved", cancel_and_look)
        tasks.solve()

        plan.refresh_from_db()
        assert reached == ["solving"]
        assert (plan.state, plan.result) == ("cancelled", None)

    def test_what_is_in_force_cannot_be_cancelled(self, day: Day) -> None:
        day.two()

        with pytest.raises(services.UnableToMovePlan, match="you cannot cancel it"):
            services.cancel_plan(actor=day.cast.jory, plan_id=day.accepted().pk, now=day.cast.now)


class TestTheTask:
    def test_it_solves_whatever_waits(self, day: Day) -> None:
        day.two()
        day.ask()

        tasks.solve()

        assert list(Plan.objects.values_list("state", "progress")) == [("ready", 100)]

    def test_it_tells_how_far_it_is(self, day: Day) -> None:
        day.two()
        plan = day.ask()
        errand = services.take_plan(actor=WORKER, now=day.cast.now)
        assert errand is not None

        tasks.Pulse(WORKER, errand)()

        plan.refresh_from_db()
        assert (plan.state, plan.progress, plan.heartbeat_at) == ("solving", 0, day.cast.now)
        assert plan.words == "Solving, 0 s of at most 10 s."

    def test_an_instance_that_cannot_be_read_fails_with_the_field(self, day: Day) -> None:
        day.two()
        inputs = day.ask().inputs
        services.cancel_plan(actor=day.cast.jory, plan_id=Plan.objects.get().pk, now=day.cast.now)
        inputs["demands"][0]["mass_kg"] = -1
        plan = Plan.objects.create(
            station=day.cast.tarrow,
            day=day.cast.now.date(),
            number=2,
            inputs=inputs,
            formulas="2026.1",
            asked_at=day.cast.now,
        )

        tasks.solve()

        plan.refresh_from_db()
        assert plan.state == "failed"
        assert "demands[0].mass_kg" in plan.words

    def test_a_plan_that_its_check_faults_is_not_offered(
        self, day: Day, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        day.two()
        plan = day.ask()
        monkeypatch.setattr(tasks, "violations", lambda problem, solved: ("S1 is with two riders at once",))

        tasks.solve()

        plan.refresh_from_db()
        assert plan.state == "failed"
        assert "S1 is with two riders" in plan.words
