"""Boards and fins for a rider and a sail."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging.kit import Board, FinBox
from rigging.sizing import Level, Rider, Water, board_suits, board_volume_l, board_volumes_l, fin_length_cm
from rigging.units import BadValue
from tests.rigging.strategies import levels, masses_kg

LEARNER = Board(
    name="Mudflat 205", volume_l=205, width_cm=85, sail_min_m2=1.5, sail_max_m2=6.5, fin_box=FinBox.POWER_BOX
)


@given(mass=masses_kg(), level=st.sampled_from([Level.TASTER, Level.BEGINNER]), water=st.sampled_from(Water))
def test_it_gives_learners_two_and_a_half_litres_per_kilogram(
    mass: float, level: Level, water: Water
) -> None:
    # school checklist of a national association: board buoyancy 2 1/2 x student weight
    assert board_volume_l(Rider(mass_kg=mass, level=level), water).low >= 2.5 * mass


@given(mass=masses_kg(), level=levels)
def test_it_floats_a_rider_a_little_less_in_fresh_water(mass: float, level: Level) -> None:
    rider = Rider(mass_kg=mass, level=level)
    # densities 1.025 and 1.000 kg/l: 2.4 % less lift
    assert board_volume_l(rider, Water.FRESH).low == pytest.approx(1.025 * board_volume_l(rider).low)


@given(mass=masses_kg(), level=levels, water=st.sampled_from(Water))
def test_it_gives_a_range_that_is_one(mass: float, level: Level, water: Water) -> None:
    found = board_volume_l(Rider(mass_kg=mass, level=level), water)

    assert 0 < found.low <= found.high


@given(mass=masses_kg(), lower=levels, higher=levels)
def test_it_never_asks_more_volume_of_a_better_rider(mass: float, lower: Level, higher: Level) -> None:
    lower, higher = sorted((lower, higher), key=lambda level: level.rank)
    worse, better = (board_volume_l(Rider(mass_kg=mass, level=level)) for level in (lower, higher))

    assert better.low <= worse.low
    assert better.high <= worse.high


@pytest.mark.parametrize(("area", "length"), [(5.5, 30), (7.0, 38), (8.5, 46)])
def test_it_fits_the_fin_to_the_sail(area: float, length: float) -> None:
    # common practice, no source
    found = fin_length_cm(area)

    assert found.low < length < found.high


@pytest.mark.parametrize(
    ("mass", "level", "area", "suits", "words"),
    [
        (75, Level.TASTER, 4.0, True, "carries 4 m²"),
        (90, Level.TASTER, 4.0, False, "20 l too little"),
        (75, Level.TASTER, 7.0, False, "doesn't carry 7 m²"),
        (75, Level.ADVANCED, None, True, "90 l more than usual"),
    ],
)
def test_it_says_whether_a_board_suits(
    mass: float, level: Level, area: float | None, suits: bool, words: str
) -> None:
    found = board_suits(LEARNER, Rider(mass_kg=mass, level=level), area)

    assert found.ok is suits
    assert any(words in reason.text for reason in found.reasons)


def test_it_takes_riders_by_the_thousand() -> None:
    low, high = board_volumes_l(np.full(1000, 75.0), [Level.IMPROVER] * 1000)

    assert low.shape == high.shape == (1000,)


@pytest.mark.parametrize("area", [0.0, float("nan"), -5.0, 16.0])
def test_it_refuses_a_sail_without_sense(area: float) -> None:
    with pytest.raises(BadValue, match="area_m2"):
        fin_length_cm(area)
