"""Items that are mended and go on at their age: faults by age, what to expect, when to retire them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from rigging import wear
from rigging.units import BadValue
from rigging.wear import Records, life_of_groups, records
from tests.rigging.test_wear_weibull import Known

# NIST/SEMATECH e-Handbook 8.4.5.2 (power law, case study 1): ten repairs within 1500 h.  From memory.
REPAIRS = (5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478)
WATCHED_H = 1500.0


def stretches(faults: list[float], until: float) -> tuple[list[float], list[bool], list[float]]:
    """Hours, failures and entries of one mended item: from fault to fault at its age."""
    ends = [*faults, until]
    return ends, [True] * len(faults) + [False], [0.0, *faults]


def mended_shed(rng: np.random.Generator, count: int) -> Records:
    """Stretches of items whose faults follow (age / 300 h) ** 2.2, watched for different times."""
    found: list[tuple[float, bool, float]] = []
    for until in rng.uniform(30, 600, count):
        faults = 300 * rng.exponential(size=20).cumsum() ** (1 / 2.2)
        found += zip(*stretches(list(faults[faults < until]), until), strict=True)
    hours, failed, entries = zip(*found, strict=True)
    return records(hours, failed, entries)


def test_it_finds_the_handbooks_slope_of_a_mended_system() -> None:
    # NIST/SEMATECH e-Handbook 8.4.5.2: 1 - (N - 1) / sum ln(T / t) = 0.5165, without bias; from memory
    life = wear.fit_weibull(*stretches(list(map(float, REPAIRS)), WATCHED_H))

    assert 1 - life.shape * 9 / 10 == pytest.approx(0.5165, abs=5e-5)
    assert (WATCHED_H / life.scale_h) ** life.shape == pytest.approx(10)


def test_it_catches_the_truth_of_a_shed_of_mended_items_95_times_in_100() -> None:
    # 400 seeded runs; 95 % with a sampling error of 1.1 %
    caught = np.zeros(2)
    for seed in range(400):
        life = life_of_groups({"all": mended_shed(np.random.default_rng(seed), 12)})["all"]
        limits = (life.shape_limits(), life.scale_limits_h())
        caught += [low <= true <= high for true, (low, high) in zip((2.2, 300.0), limits, strict=True)]

    assert caught / 400 == pytest.approx(0.95, abs=0.033)


def test_it_counts_the_faults_of_a_season_within_its_limits_95_times_in_100() -> None:
    caught = []
    for seed in range(100):
        rng = np.random.default_rng(seed)
        life = life_of_groups({"all": mended_shed(rng, 12)})["all"]
        ages = rng.uniform(0, 400, 20)
        happened = rng.poisson((((ages + 100) / 300) ** 2.2 - (ages / 300) ** 2.2).sum())
        expected = life.expected_failures(ages, 100.0, mended=True)
        caught.append(expected.low <= happened <= expected.high)

    assert np.mean(caught) >= 0.9


def test_it_expects_more_of_what_can_fail_twice() -> None:
    life = life_of_groups({"all": mended_shed(np.random.default_rng(1), 12)})["all"]
    once, again = (life.expected_failures([300.0] * 4, 300.0, mended=each) for each in (False, True))

    assert once.value <= 4 < again.value
    assert "failures of 4" in again.reason.text


@pytest.mark.parametrize(
    ("shape", "new", "fault"), [(1.5, 400.0, 60.0), (2.2, 800.0, 60.0), (3.0, 50.0, 60.0)]
)
def test_it_retires_where_a_general_minimiser_finds_the_least_cost(
    shape: float, new: float, fault: float
) -> None:
    # scipy's bounded minimiser on the cost per hour of Barlow & Hunter 1960, policy II
    plan = wear.mended_age(Known(shape, 300.0), new, fault)
    least = minimize_scalar(
        lambda age: (new + fault * (age / 300) ** shape) / age,
        bounds=(1, 20_000),
        method="bounded",
        options={"xatol": 1e-6},
    )

    assert plan.age_h == pytest.approx(least.x, rel=1e-5)
    assert plan.cost_rate == pytest.approx(least.fun)


def test_it_has_cost_new_over_shape_less_one_in_faults_by_then() -> None:
    # Barlow & Hunter 1960: H(T) = new / (fault (shape - 1)); with shape 2 the faults have cost one new item
    plan = wear.mended_age(Known(2.0, 300.0), 600.0, 150.0)

    assert plan.age_h == pytest.approx(300 * (600 / 150) ** 0.5)
    assert plan.ratio == pytest.approx(0.8)
    assert plan.reason.text.startswith("Retire at 600 h: 80% of the cost")


@pytest.mark.parametrize("shape", [0.6, 1.0])
def test_it_keeps_what_does_not_wear_out(shape: float) -> None:
    plan = wear.mended_age(Known(shape, 300.0), 600.0, 150.0)

    assert (plan.age_h, plan.ratio) == (None, 1.0)
    assert "beyond mending" in plan.reason.text


@pytest.mark.parametrize("costs", [(0.0, 1.0), (1.0, 0.0), (float("nan"), 1.0), (1.0, -1.0)])
def test_it_asks_for_costs_above_nothing(costs: tuple[float, float]) -> None:
    with pytest.raises(BadValue):
        wear.mended_age(Known(2.0, 300.0), *costs)


@given(
    shape=st.floats(0.05, 60),
    scale=st.floats(1e-6, 1e9),
    new=st.floats(1e-3, 1e12),
    fault=st.floats(1e-3, 1e12),
)
def test_it_gives_numbers_for_whatever_life_and_costs(
    shape: float, scale: float, new: float, fault: float
) -> None:
    plan = wear.mended_age(Known(shape, scale), new, fault)

    assert np.isfinite([plan.cost_rate, plan.ratio, plan.age_h or 0.0]).all()
