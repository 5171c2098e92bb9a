"""Planning again in mid-day: what is out stays out, promises hold where they can, and who is told."""

from dataclasses import replace
from typing import Any

import pytest

from rigging.allot.check import violations
from rigging.allot.problem import Crew, Priority, Problem, Window
from rigging.allot.replan import News, Replan, replan
from rigging.allot.solve import solve
from rigging.units import BadValue
from tests.rigging.allot import instances, sheds

NOON = 12 * 60


def again(problem: Problem, now_min: int = NOON, **news: Any) -> Replan:
    new = replan(problem, solve(problem), News(now_min=now_min, **news))
    assert violations(new.problem, new.plan) == ()
    return new


def two_sails(*riders: Any) -> Problem:
    return sheds.shed(
        *riders,
        sails=(sheds.sail(5.3, 2), sheds.sail(4.2, 2)),
        masts=(sheds.mast(430, 2), sheds.mast(400, 2)),
    )


afloat = sheds.rider("afloat", 11, 14, sails={5.3: 0.0})
later = sheds.rider("later", 15, 17, sails={5.3: 0.0})
easy = sheds.rider("later", 15, 17, sails={5.3: 0.0, 4.2: 0.4})


class TestWhatIsOut:
    def test_it_leaves_rig_and_board_with_who_is_afloat(self) -> None:
        problem = two_sails(afloat, easy)
        before = {a.demand: a for a in solve(problem).assignments}["afloat"]

        (after,) = (a for a in again(problem).plan.assignments if a.demand == "afloat")

        assert (after.sail, after.board, after.issued) == (before.sail, before.board, True)

    def test_it_leaves_out_who_is_back(self) -> None:
        assert [d.id for d in again(two_sails(afloat, easy), 14 * 60 + 20).problem.demands] == ["later"]

    def test_it_holds_the_kit_of_who_is_just_back_for_the_turn_round(self) -> None:
        """Back at 14:00; the only rig is free at 14:15."""
        at_once = sheds.rider("at once", 14 + 10 / 60, 15, sails={5.3: 0.0})

        new = again(sheds.shed(afloat), 14 * 60 + 5, arrived=(at_once,))

        assert new.plan.score.served == 0

    def test_it_waits_for_who_is_late(self) -> None:
        new = again(sheds.shed(afloat, later), 14 * 60 - 5, late={"afloat": 15 * 60 + 30})

        assert [change.demand for change in new.changes] == ["later"]


class TestPromises:
    def test_it_changes_nothing_when_nothing_has_happened(self) -> None:
        assert again(two_sails(afloat, easy)).changes == ()

    def test_it_does_not_displace_a_promised_rider_for_a_lesson_that_walks_in(self) -> None:
        lesson = sheds.rider("lesson", 15, 17, sails={5.3: 0.0}, priority=Priority.LESSON)

        new = again(sheds.shed(afloat, later), arrived=(lesson,))

        assert [u.demand for u in new.plan.unserved] == ["lesson"]

    def test_it_serves_a_walk_in_from_what_a_no_show_leaves(self) -> None:
        walk_in = sheds.rider("walk-in", 15, 17, sails={5.3: 0.0}, priority=Priority.WALK_IN)

        new = again(sheds.shed(afloat, later), arrived=(walk_in,), gone=frozenset({"later"}))

        assert {a.demand for a in new.plan.assignments} == {"afloat", "walk-in"}

    def test_it_keeps_a_sail_that_another_would_suit_a_little_better(self) -> None:
        """A new forecast makes the smaller sail ideal; the promise is worth more than the 0.2."""
        losses = {"later": ({"thrift 5.3": 0.2, "thrift 4.2": 0.0}, {"marram 110": 0.0})}

        assert again(two_sails(afloat, easy), losses=losses).changes == ()

    def test_it_changes_a_sail_that_the_new_wind_vetoes_and_says_whom_to_tell(self) -> None:
        losses = {"later": ({"thrift 4.2": 0.1}, {"marram 110": 0.0})}

        (change,) = again(two_sails(afloat, easy), losses=losses).changes

        assert change.text == "later at 15:00: sail thrift 4.2 instead of thrift 5.3."


class TestBroken:
    def test_it_serves_others_without_the_broken_mast(self) -> None:
        problem = two_sails(afloat, easy)
        mast = {rig.id: rig.mast for rig in solve(problem).rigs}

        new = again(problem, 10 * 60, broken=frozenset(mast.values()))

        assert not set(mast.values()) & {rig.mast for rig in new.plan.rigs}
        assert new.plan.score.served == 2

    def test_it_finds_other_kit_for_who_broke_theirs_afloat(self) -> None:
        problem = two_sails(afloat, easy)
        (sail,) = {a.sail for a in solve(problem).assignments if a.demand == "afloat"}

        new = again(problem, broken=frozenset({sail}))

        (kit,) = (a for a in new.plan.assignments if a.demand == "afloat")
        assert kit.sail != sail

    def test_it_tells_who_can_not_be_served_any_more(self) -> None:
        new = again(sheds.shed(afloat, later), broken=frozenset({"D110-1", "M430-1"}))

        assert {c.demand: c.after for c in new.changes} == {"afloat": None, "later": None}


class TestWind:
    def test_it_calls_in_who_is_afloat_on_what_the_wind_now_vetoes(self) -> None:
        new = again(two_sails(afloat, easy), losses={"afloat": ({}, {"marram 110": 0.0})})

        (change,) = new.changes
        assert "call them in" in change.text


class TestCrew:
    def test_it_builds_only_in_the_windows_that_are_left(self) -> None:
        crew = Crew(rig_min=20, windows=(Window(480, 600, 1), Window(780, 820, 1)))
        problem = replace(two_sails(afloat, easy), crew=crew)
        walk_in = sheds.rider("walk-in", 15, 17, sails={4.2: 0.0})

        new = again(problem, arrived=(walk_in,))

        assert [rig.built_min for rig in new.plan.rig_up()] == [(780, 800)]

    def test_it_builds_nothing_when_the_crew_has_gone(self) -> None:
        crew = Crew(rig_min=20, windows=(Window(480, 600, 1),))
        walk_in = sheds.rider("walk-in", 15, 17, sails={4.2: 0.0})

        new = again(replace(two_sails(afloat, easy), crew=crew), arrived=(walk_in,))

        assert [u.demand for u in new.plan.unserved] == ["walk-in"]


class TestDays:
    @pytest.mark.parametrize("seed", range(5))
    def test_it_keeps_every_rule_on_a_whole_day(self, seed: int) -> None:
        windows = (Window(480, 540, 6), Window(13 * 60, 13 * 60 + 45, 2))
        problem = instances.day(replace(instances.SMALL, masts=0.5, windows=windows), seed)
        plan = solve(problem)
        some = sorted(rig.mast for rig in plan.rigs)[:2]
        walk_ins = tuple(
            replace(d, id=f"w{d.id}", start_min=14 * 60, end_min=15 * 60) for d in problem.demands[:5]
        )

        new = again(
            problem, broken=frozenset(some), gone=frozenset({problem.demands[7].id}), arrived=walk_ins
        )

        assert new.plan.proven


@pytest.mark.parametrize(
    ("news", "field"),
    [
        ({"gone": frozenset({"nobody"})}, "news.gone"),
        ({"broken": frozenset({"nothing"})}, "news.broken"),
        ({"late": {"nobody": 900}}, "news.late"),
        ({"losses": {"nobody": ({}, {})}}, "news.losses"),
        ({"arrived": (sheds.rider("early", 9, 10, sails={}),)}, "news.arrived[0].start"),
        ({"now_min": -1}, "news.now_min"),
    ],
)
def test_it_refuses_news_of_what_it_does_not_know(news: dict[str, Any], field: str) -> None:
    with pytest.raises(BadValue) as refused:
        again(sheds.shed(afloat), **news)

    assert refused.value.name == field
