"""Survival without a model, against the published remission times and the survival library."""

from contextlib import suppress

import lifelines
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging import wear
from rigging.units import BadValue
from tests.rigging.lives import published, shed

REMISSION = [
    # Freireich 1963, Gehan 1965: week, at risk, failures, survival, Greenwood error, Nelson-Aalen hazard
    (6, 21, 3, 0.8571, 0.0764, 0.1429),
    (7, 17, 1, 0.8067, 0.0869, 0.2017),
    (10, 15, 1, 0.7529, 0.0963, 0.2683),
    (13, 12, 1, 0.6902, 0.1068, 0.3517),
    (16, 11, 1, 0.6275, 0.1141, 0.4426),
    (22, 7, 1, 0.5378, 0.1282, 0.5854),
    (23, 6, 1, 0.4482, 0.1346, 0.7521),
]


def test_it_gives_the_published_table_of_remission() -> None:
    found = wear.kaplan_meier(*published("remission"))

    columns = (found.hours, found.at_risk, found.failures, found.survival)
    table = np.column_stack([*columns, found.standard_error, found.cumulative_hazard])
    assert table == pytest.approx(np.array(REMISSION), abs=6e-5)
    assert found.median_h == 23


def test_it_gives_the_survival_librarys_limits() -> None:
    # lifelines 0.30, KaplanMeierFitter, log-log limits: 0.6197 to 0.9516 at week 6
    found = wear.kaplan_meier(*published("remission"))

    assert (found.low[0], found.high[0]) == pytest.approx((0.6197, 0.9516), abs=6e-5)


@pytest.mark.parametrize("seed", range(3))
def test_it_agrees_with_the_survival_library_on_late_entries(seed: int) -> None:
    # lifelines 0.30, KaplanMeierFitter with entry; beyond the first ages, where few were watched yet
    known = shed(np.random.default_rng(seed), 200, late=True)
    peer = lifelines.KaplanMeierFitter().fit(known.hours, known.failed, entry=known.entry_hours)

    found = wear.kaplan_meier(known.hours, known.failed, known.entry_hours)

    assert found.survival == pytest.approx(peer.predict(found.hours).to_numpy(), abs=1e-9)


def test_it_counts_a_record_censored_at_an_age_of_failure_as_at_risk_there() -> None:
    assert wear.kaplan_meier([6, 6], [1, 0]).at_risk.tolist() == [2]


def test_it_has_no_median_while_fewer_than_half_failed() -> None:
    assert wear.kaplan_meier([5, 9, 9], [1, 0, 0]).median_h is None


def test_it_steps_down_at_failures_only() -> None:
    found = wear.kaplan_meier([5, 9, 12], [1, 0, 1])

    assert [found.at(age) for age in (0, 4.9, 5, 11.9, 12)] == pytest.approx([1, 1, 2 / 3, 2 / 3, 0])


def test_it_keeps_certainty_where_nothing_failed() -> None:
    found = wear.kaplan_meier([5, 9], [0, 0])

    assert (len(found.hours), found.at(9)) == (0, 1.0)


@given(st.lists(st.tuples(st.floats(1e-3, 1e4), st.booleans()), min_size=1, max_size=30))
def test_it_falls_from_one_within_its_limits(lines: list[tuple[float, bool]]) -> None:
    found = wear.kaplan_meier([hours for hours, _ in lines], [failed for _, failed in lines])

    assert (np.diff(found.survival, prepend=1.0) <= 0).all()
    assert (found.low <= found.survival + 1e-12).all()
    assert (found.survival <= found.high + 1e-12).all()


@given(st.lists(st.tuples(st.floats(), st.integers(-1, 2), st.floats()), max_size=8))
def test_it_answers_with_numbers_or_names_the_bad_record(lines: list[tuple[float, int, float]]) -> None:
    hours, failed, entries = ([line[i] for line in lines] for i in range(3))

    with suppress(BadValue):
        found = wear.kaplan_meier(hours, failed, entries)

        assert np.isfinite([*found.survival, *found.low, *found.high, *found.standard_error]).all()
