"""Weibull lives and preventive ages against published data sets, handbooks and the survival library."""

from contextlib import suppress

import lifelines
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging import wear
from rigging.units import BadValue
from tests.rigging.lives import published, shed
from tests.rigging.reference import rows


@pytest.mark.parametrize(
    ("name", "shape", "scale", "log_likelihood"),
    [
        # NIST/SEMATECH e-Handbook 8.4.1.3
        ("nist", 1.7208, 606.5280, -75.135),
        # computed; Lawless, and Meeker & Escobar, print 2.10 and 81.88 (from memory)
        ("bearings", 2.102, 81.87, -113.7),
        # computed; Meeker & Escobar 1998 print mu 10.23, sigma 0.3164 (from memory)
        ("shocks", 3.160, 27_720, -124.0),
        # computed with lifelines
        ("remission", 1.354, 33.77, None),
    ],
)
def test_it_finds_the_published_estimates(
    name: str, shape: float, scale: float, log_likelihood: float | None
) -> None:
    life = wear.fit_weibull(*published(name))

    assert (life.shape, life.scale_h) == pytest.approx((shape, scale), rel=2.5e-4)
    assert log_likelihood is None or life.log_likelihood == pytest.approx(log_likelihood, abs=0.05)


def test_it_gives_the_handbooks_mean_and_log_likelihood() -> None:
    # NIST/SEMATECH e-Handbook 8.4.1.3: mean 540.737, ln L -75.135
    life = wear.fit_weibull(*published("nist"))

    assert life.mean_h == pytest.approx(540.737, abs=1e-2)
    assert life.log_likelihood == pytest.approx(-75.135, abs=1e-3)


@pytest.mark.parametrize(
    ("name", "shape_se", "scale_se"),
    # computed from the observed information with the reliability library
    [("bearings", 0.3287, 8.601), ("nist", 0.5022, 124.9), ("shocks", 0.7308, 3046)],
)
def test_it_finds_the_standard_errors(name: str, shape_se: float, scale_se: float) -> None:
    life = wear.fit_weibull(*published(name))

    assert np.sqrt(np.diag(life.covariance)) == pytest.approx((shape_se, scale_se), rel=5e-4)


def test_it_gives_the_smallest_extreme_value_form_of_the_textbook() -> None:
    # Meeker & Escobar 1998, shock absorbers: mu 10.23, sigma 0.3164 (from memory)
    life = wear.fit_weibull(*published("shocks"))

    assert (np.log(life.scale_h), 1 / life.shape) == pytest.approx((10.23, 0.3164), abs=5e-3)


def test_it_gives_the_lives_of_the_bearings() -> None:
    # computed: B10 28.07, B50 68.77, mean 72.52
    life = wear.fit_weibull(*published("bearings"))

    assert (life.life_h(0.1), life.life_h(0.5), life.mean_h) == pytest.approx((28.07, 68.77, 72.52), rel=2e-4)


@pytest.mark.parametrize("seed", range(3))
def test_it_agrees_with_the_survival_library_on_late_and_censored_records(seed: int) -> None:
    # lifelines 0.30, WeibullFitter with entry
    known = shed(np.random.default_rng(seed), 300, late=True)
    peer = lifelines.WeibullFitter().fit(known.hours, known.failed, entry=known.entry_hours)

    life = wear.fit_weibull(known.hours, known.failed, known.entry_hours)

    assert (life.shape, life.scale_h) == pytest.approx((peer.rho_, peer.lambda_), rel=1e-3)
    assert life.log_likelihood >= peer.log_likelihood_ - 1e-6


def test_it_is_misled_without_the_ages_at_which_watching_began() -> None:
    known = shed(np.random.default_rng(1), 4000, late=True)

    right = wear.fit_weibull(known.hours, known.failed, known.entry_hours)
    wrong = wear.fit_weibull(known.hours, known.failed)

    assert right.shape == pytest.approx(2.2, rel=0.05)
    assert wrong.shape > 1.1 * right.shape


def test_it_recovers_a_simulated_shed_within_its_limits_95_times_in_100() -> None:
    # 400 seeded runs; 95 % with a sampling error of 1.1 %
    caught = np.zeros(2)
    for seed in range(400):
        known = shed(np.random.default_rng(seed), 120, late=True)
        limits = wear.fit_weibull(known.hours, known.failed, known.entry_hours).limits()
        caught += [low <= true <= high for true, (low, high) in zip((2.2, 300.0), limits, strict=True)]

    assert caught / 400 == pytest.approx(0.95, abs=0.033)


@given(scale=st.floats(1e-3, 1e3), seed=st.integers(0, 50))
def test_it_scales_with_the_unit_of_time(scale: float, seed: int) -> None:
    known = shed(np.random.default_rng(seed), 40)
    once = wear.fit_weibull(known.hours, known.failed)

    scaled = wear.fit_weibull(known.hours * scale, known.failed)

    assert (scaled.shape, scaled.scale_h) == pytest.approx((once.shape, once.scale_h * scale), rel=1e-6)


def test_it_says_when_there_are_few_failures() -> None:
    life = wear.fit_weibull([100, 200, 150, 160], [1, 1, 0, 0])

    assert "few failures" in life.reason.text


@pytest.mark.parametrize(
    ("hours", "failed", "name"),
    [
        ([], [], "hours"),
        ([1, float("nan")], [1, 1], "hours"),
        ([1, float("inf")], [1, 1], "hours"),
        ([0, 2], [1, 1], "hours"),
        ([-1, 2], [1, 1], "hours"),
        ([1, 2], [1], "failed"),
        ([1, 2], [0, 0], "failed"),
        ([1, 2], [0, 2], "failed"),
        ([1, 2], ["yes", "no"], "failed"),
        ([5, 5, 5], [1, 1, 1], "hours"),
        ([[1, 2]], [1, 1], "hours"),
    ],
)
def test_it_names_what_is_wrong_with_records(hours: list[float], failed: list[int], name: str) -> None:
    with pytest.raises(BadValue) as bad:
        wear.fit_weibull(hours, failed)
    assert bad.value.name == name


def test_it_refuses_an_entry_after_the_end() -> None:
    with pytest.raises(BadValue, match="entry_hours is 5"):
        wear.fit_weibull([5, 9], [1, 1], [5, 0])


ODD = st.floats() | st.floats(1e-9, 1e9)


@given(
    st.lists(st.tuples(ODD, st.booleans(), st.floats(0, 1e9) | st.just(0.0)), max_size=12),
)
def test_it_answers_with_numbers_or_names_the_bad_record(lines: list[tuple[float, bool, float]]) -> None:
    hours, failed, entries = ([line[i] for line in lines] for i in range(3))

    with suppress(BadValue):
        life = wear.fit_weibull(hours, failed, entries)

        assert np.isfinite([life.shape, life.scale_h, life.log_likelihood, *life.covariance.ravel()]).all()


class Known:
    """A Weibull life with given parameters."""

    def __init__(self, shape: float, scale_h: float) -> None:
        self.shape, self.scale_h = shape, scale_h


@pytest.mark.parametrize(
    "row", rows("age_replacement"), ids=lambda row: f"{row['shape']}-{row['cost_ratio']}"
)
def test_it_replaces_at_the_age_of_the_table(row: dict[str, str]) -> None:
    plan = wear.preventive_age(Known(float(row["shape"]), 1000.0), 1.0, float(row["cost_ratio"]))

    assert plan.age_h == pytest.approx(1000 * float(row["age_over_scale"]), rel=2.5e-4)
    assert plan.ratio == pytest.approx(float(row["cost_share"]), abs=6e-5)


def test_it_costs_what_the_reliability_library_says() -> None:
    # the library reliability, its worked example (shape 2.5, scale 1000, costs 1 and 5): 0.003462 at 493
    plan = wear.preventive_age(Known(2.5, 1000.0), 1.0, 5.0)

    assert plan.cost_rate == pytest.approx(0.003462, abs=5e-7)
    assert plan.age_h == pytest.approx(493.05, abs=0.01)


@pytest.mark.parametrize(
    ("shape", "planned", "failure"), [(1.0, 1, 10), (0.8, 1, 10), (2.5, 10, 10), (2.5, 10, 5), (1.01, 1, 1.5)]
)
def test_it_runs_until_failure_where_replacing_early_saves_nothing(
    shape: float, planned: float, failure: float
) -> None:
    # Barlow & Proschan 1965: a finite best age needs a rising hazard
    plan = wear.preventive_age(Known(shape, 1000.0), planned, failure)

    assert (plan.age_h, plan.ratio) == (None, 1.0)
    assert "Run until failure" in plan.reason.text


@given(shape=st.floats(1.2, 6), ratio=st.floats(1.5, 50), other=st.floats(0.05, 5))
def test_it_finds_no_cheaper_age(shape: float, ratio: float, other: float) -> None:
    life = Known(shape, 100.0)
    plan = wear.preventive_age(life, 1.0, ratio)

    assert plan.cost_rate <= wear.cost_rate(life, 100.0 * other, 1.0, ratio) * (1 + 1e-9)


@given(shape=st.floats(1.2, 6), ratio=st.floats(1.5, 50))
def test_it_replaces_earlier_where_failure_costs_more(shape: float, ratio: float) -> None:
    life = Known(shape, 100.0)
    cheaper, dearer = (wear.preventive_age(life, 1.0, each).age_h for each in (ratio, 1.5 * ratio))

    assert dearer is not None
    assert cheaper is None or dearer < cheaper


@given(
    shape=st.floats(0.05, 60),
    scale=st.floats(1e-6, 1e9),
    age=st.floats() | st.floats(0, 1e12),
    planned=st.floats() | st.floats(0, 1e6),
    failure=st.floats() | st.floats(0, 1e6),
)
def test_it_costs_a_number_or_names_the_bad_one(
    shape: float, scale: float, age: float, planned: float, failure: float
) -> None:
    life = Known(shape, scale)
    with suppress(BadValue):
        plan = wear.preventive_age(life, planned, failure)

        assert np.isfinite([plan.cost_rate, plan.ratio, plan.age_h or 0.0]).all()
    with suppress(BadValue):
        assert np.isfinite(wear.cost_rate(life, age, planned, failure))
