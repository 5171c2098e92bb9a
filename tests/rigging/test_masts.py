"""Masts on the bench against beam theory."""

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging import masts
from rigging.kit import BendCurve
from rigging.units import BadValue


def sag_m(x_m: float, length_m: float, rigidity_nm2: float) -> float:
    """Euler-Bernoulli: deflection at x of a simply supported uniform beam under the load at mid-length."""
    near = min(x_m, length_m - x_m)
    return 30 * 9.80665 * near * (3 * length_m**2 - 4 * near**2) / (48 * rigidity_nm2)


@pytest.mark.parametrize("length_cm", [340, 370, 400, 430, 460, 490, 520])
def test_it_finds_no_curve_in_a_uniform_tube(length_cm: int) -> None:
    base, middle, top = (100 * sag_m(x * length_cm / 400, length_cm / 100, 3000.0) for x in (1, 2, 3))

    assert base / middle == pytest.approx(11 / 16)
    assert masts.bend_curve(base, middle, top) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("length_cm", "imcs", "deflection_cm", "rigidity_nm2"),
    [
        # Euler-Bernoulli d = P L^3 / 48 EI with P = 30 kg
        (340, 15, 12.38, 1945),
        (400, 19, 15.92, 2464),
        (430, 21, 17.89, 2724),
        (460, 25, 18.40, 3242),
        (490, 28, 19.86, 3631),
        (520, 32, 20.77, 4150),
    ],
)
def test_it_agrees_with_beam_theory(
    length_cm: float, imcs: float, deflection_cm: float, rigidity_nm2: float
) -> None:
    assert masts.stiffness_index(length_cm, deflection_cm) == pytest.approx(imcs, rel=5e-4)
    assert masts.rigidity_nm2(length_cm, deflection_cm) == pytest.approx(rigidity_nm2, rel=5e-4)


@given(rigidity=st.floats(1500, 5000), one=st.floats(300, 550), other=st.floats(300, 550))
def test_it_gives_one_index_to_one_tube_of_any_length(rigidity: float, one: float, other: float) -> None:
    indices = [masts.stiffness_index(cm, 100 * sag_m(cm / 200, cm / 100, rigidity)) for cm in (one, other)]

    assert indices[0] == pytest.approx(indices[1], rel=1e-9)


@pytest.mark.parametrize(
    ("percent", "expected"),
    [
        # from memory: hard top 6-9, constant 12-15, flex top 18-21
        (6, BendCurve.HARD_TOP),
        (9, BendCurve.HARD_TOP),
        (12, BendCurve.CONSTANT),
        (15, BendCurve.CONSTANT),
        (18, BendCurve.FLEX_TOP),
        (21, BendCurve.FLEX_TOP),
    ],
)
def test_it_names_the_curve(percent: float, expected: BendCurve) -> None:
    assert masts.curve_class(percent) is expected


def test_it_tells_a_bench_test_with_its_reasons() -> None:
    found = masts.bench_test(460, 0.63 * 18.4, 18.4, 0.76 * 18.4)

    assert found.imcs == pytest.approx(25)
    assert found.curve_percent == pytest.approx(13)
    assert found.curve is BendCurve.CONSTANT
    assert "18.4 cm" in found.reasons[0].text


def test_it_follows_the_stations_bands() -> None:
    found = masts.bench_test(460, 0.63 * 18.4, 18.4, 0.76 * 18.4, soft_below=14, flex_from=20)

    assert found.curve is BendCurve.HARD_TOP


def test_it_refuses_bands_in_the_wrong_order() -> None:
    with pytest.raises(BadValue, match="soft_below"):
        masts.curve_class(12, soft_below=18, flex_from=10)


@given(numbers=st.lists(st.floats() | st.floats(0, 600), min_size=4, max_size=4))
def test_it_refuses_or_answers_with_numbers(numbers: list[float]) -> None:
    with contextlib.suppress(BadValue):
        found = masts.bench_test(*numbers)
        assert math.isfinite(found.imcs + found.curve_percent + found.rigidity_nm2)
