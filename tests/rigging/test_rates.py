"""Incident rates against the exact tables and the published worked comparisons."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from rigging import rates
from rigging.units import BadValue
from tests.rigging.reference import rows

counts = st.integers(0, 500)


@pytest.mark.parametrize(
    "row", rows("poisson_limits"), ids=lambda row: f"{row['count']}-{row['confidence']}-{row['status']}"
)
def test_it_gives_the_limits_of_the_exact_table(row: dict[str, str]) -> None:
    limits = rates.poisson_limits(int(row["count"]), float(row["confidence"]))

    assert limits == pytest.approx((float(row["low"]), float(row["high"])), rel=5e-4)


@given(count=st.integers(1, 2000), confidence=st.floats(0.5, 0.999))
def test_it_agrees_with_the_chi_square_form(count: int, confidence: float) -> None:
    # scipy.stats.chi2, an independent route to the same quantiles
    tail = (1 - confidence) / 2
    expected = (stats.chi2.ppf(tail, 2 * count) / 2, stats.chi2.ppf(1 - tail, 2 * count + 2) / 2)

    assert rates.poisson_limits(count, confidence) == pytest.approx(expected, rel=1e-9)


def test_it_tells_a_rate_per_thousand_launches() -> None:
    rate = rates.rate_limits(3, 1200)

    assert (rate.per_thousand, rate.low, rate.high) == pytest.approx((2.5, 0.5156, 7.306), rel=1e-3)
    assert rate.reason.text == (
        "3 incidents in 1,200 launches: 2.5 per thousand (95%: 0.52 to 7.3). "
        "Few events: another season may well differ."
    )


def test_it_does_not_take_none_for_safe() -> None:
    # 3.689 / exposure, Garwood 1936
    rate = rates.rate_limits(0, 800)

    assert rate.high == pytest.approx(3.689 / 0.8, rel=1e-3)
    assert "None so far doesn't mean none to come" in rate.reason.text


@pytest.mark.parametrize(
    ("now", "before", "ratio", "low", "high", "p_value"),
    [
        # Fay 2022, vignette of the R package rateratio.test, section 1
        ((2, 17877), (9, 16660), 0.2070941557, 0.02177406, 1.00054910, 0.05011),
        # Fay 2023, vignette of the R package exactci, section 1 (limits and ratio)
        ((2, 17877), (10, 20000), 0.2237512, 0.02383738, 1.04995468, None),
    ],
    ids=["rateratio.test", "exactci"],
)
def test_it_compares_two_periods_as_in_the_worked_example(
    now: tuple[int, float],
    before: tuple[int, float],
    ratio: float,
    low: float,
    high: float,
    p_value: float | None,
) -> None:
    result = rates.compare(*now, *before)

    assert (result.ratio, result.low, result.high) == pytest.approx((ratio, low, high), rel=1e-6)
    assert p_value is None or result.p_value == pytest.approx(p_value, abs=5e-6)


@given(now=counts, before=counts, spent=st.floats(1, 1e5), spent_before=st.floats(1, 1e5))
def test_it_finds_a_difference_exactly_when_the_limits_leave_one_out(
    now: int, before: int, spent: float, spent_before: float
) -> None:
    result = rates.compare(now, spent, before, spent_before)
    leaves_one_out = (result.low or 0.0) > 1 + 1e-9 or (result.high or 2.0) < 1 - 1e-9

    assert leaves_one_out is result.differs or result.p_value == pytest.approx(0.05, abs=1e-6)


@given(now=counts, before=counts, spent=st.floats(1, 1e5), spent_before=st.floats(1, 1e5))
def test_it_has_the_same_p_value_whichever_period_comes_first(
    now: int, before: int, spent: float, spent_before: float
) -> None:
    one, other = (
        rates.compare(now, spent, before, spent_before),
        rates.compare(before, spent_before, now, spent),
    )

    assert one.p_value == pytest.approx(other.p_value, abs=1e-9)


def test_it_has_no_ratio_to_a_period_without_incidents() -> None:
    result = rates.compare(3, 500, 0, 700)

    assert (result.ratio, result.high) == (None, None)
    assert result.low is not None


@pytest.mark.parametrize(
    ("counted", "words"),
    [((40, 1000, 10, 1000), "more than chance"), ((3, 1000, 2, 1000), "too few to tell")],
)
def test_it_says_what_the_comparison_means(counted: tuple[int, float, int, float], words: str) -> None:
    assert words in rates.compare(*counted).reason.text


@given(count=counts, exposure=st.floats(1, 1e6), more=st.integers(1, 50))
def test_it_never_lowers_a_limit_for_more_incidents(count: int, exposure: float, more: int) -> None:
    fewer, most = rates.rate_limits(count, exposure), rates.rate_limits(count + more, exposure)

    assert (fewer.low, fewer.high) < (most.low, most.high)


@pytest.mark.parametrize("count", [-1, 2.5, float("nan"), "3", True])
def test_it_refuses_counts_that_count_nothing(count: int) -> None:
    with pytest.raises(BadValue, match="count is"):
        rates.rate_limits(count, 100)


@pytest.mark.parametrize("exposure", [0, -5, float("inf"), None])
def test_it_refuses_an_exposure_of_nothing(exposure: float) -> None:
    with pytest.raises(BadValue, match="exposure is"):
        rates.rate_limits(1, exposure)


ODD = st.floats() | st.integers() | st.none() | st.text(max_size=3)


@given(count=ODD, exposure=ODD, before=ODD, confidence=ODD)
def test_it_answers_with_numbers_or_names_the_bad_one(
    count: float, exposure: float, before: float, confidence: float
) -> None:
    with suppress(BadValue):
        result = rates.compare(count, exposure, before, 100.0, confidence)  # type: ignore[arg-type]

        assert 0 <= result.p_value <= 1
