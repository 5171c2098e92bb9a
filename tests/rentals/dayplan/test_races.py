"""Two at once over one day: real threads on a database where writes commit."""

from datetime import datetime

import pytest

from rentals.dayplan import services
from rentals.dayplan.mapping import kits
from rentals.dayplan.models import Plan
from rentals.fleet.models import Hold
from rentals.lib.problems import Refused
from rentals.rigs.models import Card
from tests.rentals.dayplan.day import WORKER, Day, read, rigs
from tests.rentals.test_races import at_once, overlaps, told_apart, without_deadlock
from tests.rentals.walk import Walk, again

pytestmark = pytest.mark.both_engines


@pytest.fixture
def cast(committing: None, now: datetime) -> Walk:
    """The cast on a database where writes commit."""
    return Walk(now)


def test_of_two_who_accept_one_puts_it_in_force(day: Day) -> None:
    outings = day.two()
    plan = day.solved()
    assert day.cast.boss

    with without_deadlock():
        answers = at_once(lambda: day.accept(plan, day.cast.jory), lambda: day.accept(plan, day.cast.boss))

    assert told_apart(answers) == {Plan: 1, services.UnableToMovePlan: 1}
    assert Card.objects.count() == len(outings)
    assert overlaps() == 0


def test_a_sail_given_by_hand_in_that_moment_leaves_one_of_them_with_nothing(day: Day) -> None:
    """The plan is accepted while the desk gives its sail to somebody who has just come."""
    outings = day.two()
    plan = day.solved()
    (other,) = day.cast.booked(day.cast.rider("Sedge Moor", level="advanced"))
    _, solved = read(plan)
    sail = day.cast.shed[solved.rigs[0].sail]
    both = {day.cast.jory.name, day.cast.ida.name}
    assert len(both) == 2

    def by_hand() -> object:
        return day.cast.kit(other, sail_id=sail.pk, worn={}, override_reason="Asked for it")

    with without_deadlock():
        accepted, given = at_once(lambda: day.accept(plan), by_hand)

    assert isinstance(accepted, Refused) or isinstance(given, Refused)
    assert overlaps() == 0
    if isinstance(accepted, Refused):
        assert {again(outing).state for outing in outings} == {"booked"}
        assert Card.objects.filter(outing__in=outings).count() == 0
    assert Hold.objects.filter(item=sail, live=True).count() == 1


def test_what_is_taken_after_the_look_is_refused_by_the_database_and_nothing_is_kept(
    day: Day, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The look found the sail free; a hold on it stands before the plan's own."""
    outings = day.two()
    plan = day.solved()
    _, solved = read(plan)
    sail, look = day.cast.shed[solved.rigs[0].sail], kits.tidings

    def and_somebody_is_quicker(*args: object) -> object:
        Hold.objects.create(
            item=sail, starts_at=outings[0].starts_at, ends_at=outings[0].ends_at, purpose="quicker"
        )
        return look(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(kits, "tidings", and_somebody_is_quicker)

    with pytest.raises(services.UnableToAccept, match=f"{sail.tag} is held until 13:00"):
        day.accept(plan)

    assert {again(outing).state for outing in outings} == {"booked"}
    assert not Hold.objects.exists()
    plan.refresh_from_db()
    assert plan.state == "ready"


def test_of_many_workers_one_takes_a_plan(day: Day) -> None:
    day.two()
    plan = day.ask()

    answers = at_once(*[lambda: services.take_plan(actor=WORKER, now=day.cast.now)] * 4)

    taken = [answer for answer in answers if isinstance(answer, services.Errand)]
    assert [(errand.plan_id, errand.tries) for errand in taken] == [(plan.pk, 1)]


def test_of_two_who_ask_one_plan_is_made(day: Day) -> None:
    day.two()
    both = {day.cast.jory.name, day.cast.boss.name}
    assert len(both) == 2

    answers = at_once(lambda: day.ask(day.cast.jory), lambda: day.ask(day.cast.boss))

    assert told_apart(answers) == {Plan: 1, services.UnableToMovePlan: 1}


def test_a_tick_counts_once_however_many_tap(day: Day) -> None:
    day.two()
    first = rigs(day.accepted())[0]
    ida = day.cast.ida

    at_once(
        *[lambda: services.tick_rig(actor=ida, task_id=first.pk, ticked=True, now=day.cast.now)] * 3,
    )

    first.sail.refresh_from_db()
    assert first.sail.rig_ups == 1
