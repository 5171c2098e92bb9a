"""The solver: as good as trying everything, strict in its order, honest about its proof."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from rigging.allot.check import violations
from rigging.allot.plan import Plan
from rigging.allot.problem import Crew, Hold, Priority, Problem, Standing, Window
from rigging.allot.solve import solve
from rigging.units import BadValue
from tests.rigging.allot import brute, instances, sheds

LESSON, WALK_IN = Priority.LESSON, Priority.WALK_IN


def solved(problem: Problem, seconds: float = 20.0) -> Plan:
    plan = solve(problem, seconds)
    assert violations(problem, plan) == ()
    return plan


def served(plan: Plan) -> set[str]:
    return {assignment.demand for assignment in plan.assignments}


class TestAgainstTryingEverything:
    @pytest.mark.parametrize("hundred", range(4))
    def test_it_reaches_the_best_score_of_a_hundred_tiny_days(self, hundred: int) -> None:
        for seed in range(100 * hundred, 100 * hundred + 100):
            problem = brute.with_wishes(brute.tiny(seed), seed)

            plan = solved(problem)

            assert plan.proven, seed
            found = (plan.score.points_short, plan.score.mismatch, plan.score.builds)
            assert found == brute.best(problem), seed

    def test_it_serves_as_many_when_only_the_points_are_asked_for(self) -> None:
        for seed in range(100):
            problem = brute.with_wishes(brute.tiny(seed), seed)

            plan = solve(problem, 20.0, points_only=True)

            assert violations(problem, plan) == (), seed
            assert (plan.score.points_short, plan.points_open) == (brute.best(problem)[0], 0), seed

    def test_it_agrees_with_scipys_assignment_when_all_sail_at_once(self) -> None:
        """Reference: scipy.optimize.linear_sum_assignment."""
        rng = np.random.default_rng(5)
        losses = rng.integers(0, 100, size=(3, 3))
        areas = (4.2, 5.3, 6.2)
        riders = [
            sheds.rider(f"d{n}", sails={a: int(loss) / 100 for a, loss in zip(areas, row, strict=True)})
            for n, row in enumerate(losses)
        ]
        problem = sheds.shed(
            *riders,
            sails=tuple(sheds.sail(area) for area in areas),
            masts=(sheds.mast(400, 9), sheds.mast(430, 9)),
        )

        assert solved(problem).score.mismatch == losses[linear_sum_assignment(losses)].sum()


class TestOrder:
    def test_it_serves_a_lesson_before_a_walk_in_whatever_the_mismatch(self) -> None:
        walk_in = sheds.rider("walk-in", sails={5.3: 0.0}, priority=WALK_IN)
        lesson = sheds.rider("lesson", sails={5.3: 1.0}, priority=LESSON)

        assert served(solved(sheds.shed(walk_in, lesson))) == {"lesson"}

    def test_it_serves_one_rider_more_at_any_loss_to_the_others(self) -> None:
        """The early rider's ideal sail is the only one that serves the other."""
        choosy = sheds.rider("choosy", sails={5.3: 0.0})
        easy = sheds.rider("easy", sails={5.3: 0.0, 4.2: 1.0})
        problem = sheds.shed(
            choosy, easy, sails=(sheds.sail(5.3), sheds.sail(4.2)), masts=(sheds.mast(400, 2),)
        )

        plan = solved(problem)

        assert (plan.score.served, plan.score.mismatch) == (2, 100)

    def test_it_builds_one_rig_for_riders_who_can_share_it(self) -> None:
        riders = [sheds.rider(f"d{n}", 9 + 2 * n, 10.5 + 2 * n, sails={5.3: 0.0}) for n in range(3)]

        assert (
            solved(sheds.shed(*riders, sails=(sheds.sail(5.3, 3),), masts=(sheds.mast(430, 3),))).score.builds
            == 1
        )

    def test_it_never_gives_a_vetoed_sail(self) -> None:
        problem = sheds.shed(sheds.rider("light", sails={4.2: 0.9}), sails=(sheds.sail(5.3),))

        with pytest.raises(ValueError, match=r"demands\[0\]\.sails\.thrift 4\.2"):
            solve(problem)

    def test_it_spreads_wear_over_the_units_of_a_stock(self) -> None:
        riders = [sheds.rider(f"d{n}", 10, 12, sails={5.3: 0.0}) for n in range(2)]
        worn = replace(
            sheds.sail(5.3, 3),
            units=tuple(replace(u, wear_h=h) for u, h in zip(sheds.units("S", 3), (9, 1, 2), strict=True)),
        )

        plan = solved(sheds.shed(*riders, sails=(worn,), masts=(sheds.mast(430, 3),)))

        assert {a.sail for a in plan.assignments} == {"S-2", "S-3"}


class TestTurnRound:
    @pytest.mark.parametrize(("gap_min", "count"), [(15, 2), (14, 1)], ids=["enough", "a minute short"])
    def test_it_leaves_the_turn_round_between_two_riders(self, gap_min: int, count: int) -> None:
        first = sheds.rider("first", 10, 11, sails={5.3: 0.0})
        second = sheds.rider("second", 11 + gap_min / 60, 12.5, sails={5.3: 0.0})

        assert solved(sheds.shed(first, second)).score.served == count


class TestGroups:
    def test_it_keeps_a_lesson_whole_or_leaves_it_out(self) -> None:
        group = [sheds.rider(f"g{n}", sails={5.3: 0.0}, priority=LESSON, group="g") for n in range(2)]
        alone = sheds.rider("alone", sails={5.3: 0.0}, priority=WALK_IN)

        assert served(solved(sheds.shed(*group, alone))) == {"alone"}

    def test_it_serves_a_group_that_fits(self) -> None:
        group = [sheds.rider(f"g{n}", sails={5.3: 0.0}, priority=LESSON, group="g") for n in range(2)]

        plan = solved(sheds.shed(*group, sails=(sheds.sail(5.3, 2),), masts=(sheds.mast(430, 2),)))

        assert served(plan) == {"g0", "g1"}


class TestCrew:
    def test_it_builds_no_more_than_the_crew_has_time_for(self) -> None:
        riders = [sheds.rider(f"d{n}", sails={5.3: 0.0}) for n in range(3)]
        crew = Crew(rig_min=20, windows=(Window(540, 580, 1),))
        problem = sheds.shed(*riders, crew=crew, sails=(sheds.sail(5.3, 3),), masts=(sheds.mast(430, 3),))

        assert solved(problem).score.builds == 2

    def test_it_lists_the_rigs_in_the_order_they_are_needed(self) -> None:
        riders = [sheds.rider(f"d{n}", 12 - n, 14, sails={5.3: 0.0}) for n in range(3)]
        crew = Crew(rig_min=20, windows=(Window(480, 600, 1),))
        problem = sheds.shed(*riders, crew=crew, sails=(sheds.sail(5.3, 3),), masts=(sheds.mast(430, 3),))

        rig_up = solved(problem).rig_up()

        assert [(rig.needed_min, rig.built_min) for rig in rig_up] == [
            (600, (480, 500)),
            (660, (500, 520)),
            (720, (520, 540)),
        ]

    def test_it_serves_nobody_before_the_first_rig_is_ready(self) -> None:
        problem = sheds.shed(
            sheds.rider("early", 8, 9, sails={5.3: 0.0}), crew=Crew(windows=(Window(480, 540, 1),))
        )

        assert solved(problem).score.served == 0


class TestReRigs:
    """One mast carries a small sail in the morning's wind and a large one in the afternoon's."""

    morning = sheds.rider("morning", 9, 11, sails={5.3: 0.0})
    evening = sheds.rider("evening", 14, 16, sails={6.2: 0.0})

    def day(self, *windows: Window) -> Problem:
        crew = Crew(rig_min=20, windows=windows)
        return sheds.shed(self.morning, self.evening, crew=crew, sails=(sheds.sail(5.3), sheds.sail(6.2)))

    def test_it_can_serve_only_one_when_rigs_stand_all_day(self) -> None:
        assert solved(self.day(Window(480, 540, 1))).score.served == 1

    def test_it_serves_both_when_the_crew_can_re_rig_at_noon(self) -> None:
        plan = solved(self.day(Window(480, 540, 1), Window(720, 780, 1)))

        assert plan.score.served == 2
        assert [rig.until_min for rig in plan.rig_up()] == [720, None]

    def test_it_keeps_a_rig_up_for_a_rider_who_is_out_while_the_crew_builds(self) -> None:
        problem = self.day(Window(480, 540, 1), Window(720, 780, 1))
        through = sheds.rider("through", 11.5, 13.5, sails={5.3: 0.0}, priority=LESSON)

        assert "evening" not in served(solved(replace(problem, demands=(*problem.demands, through))))

    def test_it_takes_a_standing_rig_without_building(self) -> None:
        standing = (Standing("S5.3-1", "M430-1", "X46-1", "B140-1"),)

        assert solved(replace(self.day(Window(480, 540, 1)), standing=standing)).score.builds == 0

    @pytest.mark.parametrize("seed", range(6))
    def test_it_makes_a_day_with_three_windows_that_the_checker_accepts(self, seed: int) -> None:
        windows = (Window(480, 540, 4), Window(720, 760, 2), Window(870, 900, 2))
        problem = instances.day(replace(instances.SMALL, masts=0.35, windows=windows), seed)

        assert solved(problem).score.served > 0


class TestProof:
    @given(st.integers(0, 10**6))
    @settings(max_examples=25, deadline=None)
    def test_its_bound_never_exceeds_its_value(self, seed: int) -> None:
        plan = solved(brute.with_wishes(brute.tiny(seed), seed))

        assert plan.bound <= plan.score.value

    def test_it_gives_a_feasible_plan_and_its_gap_in_a_tenth_of_a_second(self) -> None:
        ticks = iter(range(10**6))
        problem = instances.day(instances.MEDIUM, 1)

        plan = solve(problem, 0.1, lambda: next(ticks) / 10)

        assert violations(problem, plan) == ()
        assert not plan.proven
        assert plan.gap > 0

    def test_it_gives_the_same_plan_for_the_same_day(self) -> None:
        problem = instances.day(instances.MEDIUM, 2)

        assert solved(problem) == solved(problem)

    @pytest.mark.parametrize("kind", [instances.SMALL, instances.MEDIUM, instances.MEDIUM_MAST])
    def test_it_proves_days_of_a_stations_size(self, kind: instances.Kind) -> None:
        assert solved(instances.day(kind, 3)).proven

    @pytest.mark.parametrize("seed", [0, 5, 6])
    def test_it_proves_that_nobody_more_can_be_served_by_points_alone(self, seed: int) -> None:
        problem = instances.day(instances.MEDIUM_MAST, seed)

        best, quick = solved(problem), solve(problem, 20.0, points_only=True)

        assert quick.points_open == best.points_open == 0
        assert quick.score.points_short == best.score.points_short > 0
        assert quick.score.mismatch >= best.score.mismatch


class TestHolds:
    def test_it_counts_a_unit_once_however_often_it_is_held(self) -> None:
        held = tuple(
            Hold(tag="D110-1", start_min=start, end_min=start + 60, why="storage")
            for start in (840, 960, 1080)
        )
        rider = sheds.rider("d", sails={5.3: 0.0})
        shed = sheds.shed(rider, boards=(sheds.board(count=2),), frozen=held)

        plan = solved(shed)

        assert (plan.score.served, plan.proven) == (1, True)
        assert [a.board for a in plan.assignments] == ["D110-2"]

    def test_it_refuses_a_hold_that_begins_in_the_turn_round_of_a_rider(self) -> None:
        rig = Standing(sail="S5.3-1", mast="M430-1", extension="X46-1", boom="B140-1")
        out = [Hold(tag=tag, start_min=600, end_min=720, demand="d") for tag in ("S5.3-1", "D110-1")]
        after = Hold(tag="D110-1", start_min=725, end_min=800, why="inspection")
        shed = sheds.shed(sheds.rider("d", sails={5.3: 0.0}), standing=(rig,), frozen=(*out, after))

        with pytest.raises(BadValue, match="735 min") as refused:
            solve(shed)

        assert refused.value.name == "frozen[2]"


class TestEmpty:
    def test_it_plans_a_day_without_riders(self) -> None:
        assert solved(sheds.shed()).score.value == 0

    @pytest.mark.parametrize("kind", ["sails", "masts", "booms", "extensions", "boards"])
    def test_it_serves_nobody_from_a_shed_without(self, kind: str) -> None:
        rider = sheds.rider("d", sails={} if kind == "sails" else {5.3: 0.0})
        rider = replace(rider, boards={}) if kind == "boards" else rider

        plan = solved(sheds.shed(rider, **{kind: ()}))

        assert (plan.score.served, plan.proven) == (0, True)

    def test_it_serves_nobody_when_no_parts_fit(self) -> None:
        problem = sheds.shed(
            sheds.rider("d", sails={5.3: 0.0}), masts=(sheds.mast(400),), extensions=(sheds.extension(10),)
        )

        assert solved(problem).score.served == 0
