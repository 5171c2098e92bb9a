"""Lives of groups: what few failures can say, what like models lend each other, what the limits promise."""

from contextlib import suppress

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging import wear
from rigging.units import BadValue
from rigging.wear import GroupLife, Records, fit_weibull, life_of_groups, records
from tests.rigging.lives import published, shed


def alone(known: Records) -> GroupLife:
    return life_of_groups({"base": known})["base"]


@pytest.fixture(scope="module")
def bearings() -> GroupLife:
    return alone(records(*published("bearings")))


@pytest.fixture(scope="module")
def few() -> GroupLife:
    return alone(records([40, 120, 90, 60, 80, 100], [1, 1, 1, 0, 0, 0]))


def test_it_takes_away_the_bias_of_the_likeliest_shape(bearings: GroupLife) -> None:
    # Thoman, Bain & Antle 1969, Technometrics 11:445: unbiasing factors 0.931 at 20, 0.943 at 24 failures
    # (from memory), so 0.940 at the 23 of the bearings
    likeliest = fit_weibull(*published("bearings"))

    assert bearings.shape == pytest.approx(0.940 * likeliest.shape, rel=0.01)
    assert bearings.scale_h == pytest.approx(likeliest.scale_h, rel=0.01)


def test_it_gives_the_pivotal_limits_of_complete_records(bearings: GroupLife) -> None:
    # Thoman, Bain & Antle 1969: estimate over shape has one distribution for each number of records, so
    # its simulated quantiles give exact limits
    likeliest = fit_weibull(*published("bearings"))
    rng = np.random.default_rng(3)
    pivots = [fit_weibull(rng.weibull(1.0, 23), np.ones(23)).shape for _ in range(3000)]
    low, high = likeliest.shape / np.quantile(pivots, [0.975, 0.025])

    assert bearings.shape_limits() == pytest.approx((low, high), rel=0.04)


def test_it_is_honest_about_three_failures(few: GroupLife) -> None:
    life = few.life_h(0.5)

    assert life.low < 90 < life.high
    assert life.high / life.low > 1.8
    assert "base: 3 failures in 6 records: 50% fail by" in life.reason.text


def test_it_still_answers_when_nothing_has_failed() -> None:
    life = alone(records([50, 80, 120], [0, 0, 0])).life_h(0.5)

    assert life.value > 80
    assert "No failures in 3 records" in life.reason.text
    assert "far beyond the 120 h on record" in life.reason.text


def test_it_still_answers_on_a_single_failure() -> None:
    life = alone(records([50], [1])).life_h(0.5)

    assert life.low < 50 < life.high


def test_it_catches_the_truth_of_a_simulated_shed_95_times_in_100() -> None:
    # 400 seeded runs of 8 to 40 records, late and censored; 95 % with a sampling error of 1.1 %
    caught = np.zeros(2)
    for seed in range(400):
        rng = np.random.default_rng(seed)
        life = alone(shed(rng, int(rng.integers(8, 40)), late=bool(seed % 2)))
        limits = (life.shape_limits(), life.scale_limits_h())
        caught += [low <= true <= high for true, (low, high) in zip((2.2, 300.0), limits, strict=True)]

    assert caught / 400 == pytest.approx(0.95, abs=0.033)


def test_it_catches_the_truth_of_unlike_groups_about_95_times_in_100() -> None:
    # 60 seeded sheds of 8 models whose scales differ by 40 %: 480 limits that share sheds, so a wider error
    caught = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        scales = 300 * np.exp(0.4 * rng.standard_normal(8))
        groups = {str(i): shed(rng, 6 * (i + 1), scale_h=scale) for i, scale in enumerate(scales)}
        lives = life_of_groups(groups)
        for i, scale in enumerate(scales):
            low, high = lives[str(i)].scale_limits_h()
            caught.append(low <= scale <= high)

    assert np.mean(caught) == pytest.approx(0.95, abs=0.035)


def test_it_draws_a_group_with_few_failures_toward_the_pool() -> None:
    rng = np.random.default_rng(4)
    groups = {f"m{i}": shed(rng, 60, scale_h=200) for i in range(5)} | {"new": records([390, 400], [1, 0])}

    together, apart = life_of_groups(groups)["new"], alone(groups["new"])

    assert together.scale_h < apart.scale_h
    assert together.borrowed > 0.3
    assert "borrowed from like models" in together.life_h().reason.text


def test_it_leaves_a_group_with_many_failures_to_itself() -> None:
    rng = np.random.default_rng(5)
    groups = {"a": shed(rng, 400, scale_h=200), "b": shed(rng, 400, scale_h=500), "c": shed(rng, 30)}
    lives = life_of_groups(groups)

    assert lives["b"].scale_h == pytest.approx(
        fit_weibull(groups["b"].hours, groups["b"].failed).scale_h, rel=0.03
    )
    assert lives["b"].borrowed < 0.1


def test_it_narrows_with_more_records() -> None:
    small, large = (alone(shed(np.random.default_rng(6), count)).life_h() for count in (15, 300))

    assert large.high / large.low < small.high / small.low


def test_it_takes_the_hazard_from_the_shape_and_scale(bearings: GroupLife) -> None:
    age = 80.0
    hazard = bearings.shapes / bearings.scales_h * (age / bearings.scales_h) ** (bearings.shapes - 1)

    assert bearings.hazard_per_h(age).value == pytest.approx(hazard.mean())


def test_it_gives_less_time_to_an_older_item(bearings: GroupLife) -> None:
    left = [bearings.remaining_h(age).value for age in (0, 40, 80, 160)]

    assert left == sorted(left, reverse=True)


def test_it_starts_a_new_item_with_the_median_life(bearings: GroupLife) -> None:
    assert bearings.remaining_h(0).value == pytest.approx(bearings.life_h(0.5).value, rel=1e-3)


@given(age=st.floats(0, 500), ahead=st.floats(0, 500), more=st.floats(0, 500))
def test_it_never_lowers_the_risk_of_more_hours(
    bearings: GroupLife, age: float, ahead: float, more: float
) -> None:
    shorter, longer = (bearings.failure_probability(age, each).value for each in (ahead, ahead + more))

    assert 0 <= shorter <= longer <= 1


def test_it_expects_the_sum_of_the_items_risks(bearings: GroupLife) -> None:
    ages = [0.0, 40.0, 80.0]
    expected = bearings.expected_failures(ages, 30.0)

    assert expected.value == pytest.approx(sum(bearings.failure_probability(age, 30.0).value for age in ages))
    assert expected.low <= expected.value <= expected.high <= 3
    assert "of 3 fail" in expected.reason.text


def test_it_counts_next_seasons_failures_within_its_limits_95_times_in_100() -> None:
    # 200 seeded sheds: records of 60 items, then 25 items of different ages for another 100 h
    caught = []
    for seed in range(200):
        rng = np.random.default_rng(seed)
        life = alone(shed(rng, 60))
        ages = rng.uniform(0, 250, 25)
        risks = -np.expm1((ages / 300) ** 2.2 - ((ages + 100) / 300) ** 2.2)
        happened = int((rng.random(25) < risks).sum())
        expected = life.expected_failures(ages, 100.0)
        caught.append(expected.low <= happened <= expected.high)

    assert np.mean(caught) >= 0.93


def test_it_lets_fewer_items_reach_a_higher_age(bearings: GroupLife) -> None:
    for shares in bearings.survival([0, 30, 60, 120, 240]):
        assert shares[0] == pytest.approx(1)
        assert (np.diff(shares) < 0).all()


def test_it_holds_the_records_own_survival_within_its_limits(bearings: GroupLife) -> None:
    # Kaplan-Meier of the same records, a peer without a model
    observed = wear.kaplan_meier(*published("bearings"))
    _, low, high = bearings.survival(observed.hours)

    assert ((low <= observed.survival + 0.05) & (observed.survival - 0.05 <= high)).all()


def test_it_hands_its_life_to_the_replacement_rule(bearings: GroupLife) -> None:
    plan = wear.preventive_age(bearings, 1.0, 10.0)

    assert plan.age_h is not None
    assert 20 < plan.age_h < 60


def test_it_gives_the_same_answer_twice() -> None:
    known = shed(np.random.default_rng(8), 30)

    assert alone(known).life_h().value == alone(known).life_h().value


def test_it_asks_for_at_least_one_group() -> None:
    with pytest.raises(BadValue, match="groups is empty"):
        life_of_groups({})


@pytest.mark.parametrize("age", [-1.0, float("nan"), float("inf")])
def test_it_refuses_an_age_that_is_none(bearings: GroupLife, age: float) -> None:
    for answer in (bearings.hazard_per_h, bearings.remaining_h):
        with pytest.raises(BadValue, match="age_h is"):
            answer(age)


LINES = st.lists(st.tuples(st.floats(1e-6, 1e9), st.booleans()), min_size=1, max_size=5)


@given(groups=st.lists(LINES, min_size=1, max_size=3), age=st.floats(0, 1e6))
def test_it_never_gives_a_figure_that_is_no_number(
    groups: list[list[tuple[float, bool]]], age: float
) -> None:
    known = {str(i): records([h for h, _ in g], [f for _, f in g]) for i, g in enumerate(groups)}

    for life in life_of_groups(known).values():
        for answer in (
            life.life_h(),
            life.hazard_per_h(age),
            life.remaining_h(age),
            life.failure_probability(age, 100.0),
            life.expected_failures([age, 0.0], 100.0),
        ):
            assert np.isfinite([answer.value, answer.low, answer.high]).all()
            assert answer.low <= answer.high


@given(ages=st.lists(st.floats(), max_size=3), ahead=st.floats() | st.lists(st.floats(), max_size=3))
def test_it_answers_or_names_the_bad_age(few: GroupLife, ages: list[float], ahead: float) -> None:
    with suppress(BadValue):
        assert few.expected_failures(ages, ahead).value >= 0
