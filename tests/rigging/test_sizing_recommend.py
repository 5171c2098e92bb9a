"""Sails for one rider: best first, forbidden ones never as fit, reasons a person can read."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigging import wind
from rigging.sizing import Level, Mode, Rider, one_size_down, recommend, suitability, wind_window
from rigging.units import BadValue, FloatArray, knots
from tests.rigging.strategies import riders, sail, slots, steady

SHED = [sail(half / 2) for half in range(3, 18)]
ADULT = Rider(mass_kg=75, level=Level.ADVANCED)


def on_beach(kn: float, gust_ratio: float = 1.25) -> wind.SlotWind:
    mean = kn * 1852 / 3600 / wind.BEACH_FACTOR
    return steady(mean, mean * gust_ratio)


@pytest.mark.parametrize(
    ("kn", "expected"),
    # common practice, no source, from memory: 75 kg, within half a size of the rule of thumb
    [(20, 5.0), (15, 6.7), (25, 4.0)],
)
def test_it_recommends_what_the_trades_rule_says(kn: float, expected: float) -> None:
    best = recommend(ADULT, SHED, on_beach(kn))[0]

    assert best.fits
    assert best.sail.area_m2 == pytest.approx(expected, abs=0.5)
    assert best.mode is Mode.PLANING


@pytest.mark.parametrize(
    ("mass", "level", "kn"),
    [
        (40, Level.TASTER, 7),
        (60, Level.TASTER, 7),
        (75, Level.TASTER, 7),
        (90, Level.TASTER, 8),
        (60, Level.BEGINNER, 9),
        (75, Level.BEGINNER, 10),
        (95, Level.BEGINNER, 10),
    ],
)
def test_it_gives_learners_about_half_a_square_metre_for_ten_kilograms(
    mass: float, level: Level, kn: float
) -> None:
    # common practice, no source: 0.045-0.065 m2 per kg, within half a size of the shed
    best = recommend(Rider(mass_kg=mass, level=level), SHED, on_beach(kn))[0]

    assert best.fits
    assert 0.045 * mass - 0.5 <= best.sail.area_m2 <= 0.065 * mass + 0.25


@settings(max_examples=40)
@given(rider=riders(), slot=slots())
def test_it_puts_fitting_sails_by_utility_and_forbidden_ones_behind(
    rider: Rider, slot: wind.SlotWind
) -> None:
    found = recommend(rider, SHED, slot)

    assert sorted(r.sail.area_m2 for r in found) == [s.area_m2 for s in SHED]
    keys = [(not r.fits, -r.utility) for r in found]
    assert keys == sorted(keys)
    for r in found:
        assert r.under + r.powered + r.over == pytest.approx(1)
        assert r.fits is (not r.vetoes)


def test_it_recommends_nothing_to_a_taster_in_13_knots() -> None:
    found = recommend(Rider(mass_kg=75, level=Level.TASTER), SHED, on_beach(13))

    assert not any(r.fits for r in found)
    assert all(r.vetoes for r in found)
    assert "13.0 kn; the limit for taster riders is 11 kn" in found[0].vetoes[0].text


@pytest.mark.parametrize(
    ("rider", "kn", "gust_ratio", "shore", "area", "words"),
    [
        (
            Rider(mass_kg=75, level=Level.BEGINNER),
            9,
            2.0,
            None,
            2.5,
            "Gusts reach 18.0 kn on the beach; the limit",
        ),
        (ADULT, 20, 1.65, None, 6.0, "This sail can be held up to"),
        (ADULT, 24, 1.0, None, 6.5, "Overpowered"),
        (ADULT, 15, 1.2, wind.Shore.OFF_SHORE, 6.5, "no manned safety boat"),
        (Rider(mass_kg=75), 7, 1.2, wind.Shore.OFF_SHORE, 3.5, "taster riders stay ashore"),
        (Rider(mass_kg=150), 5, 1.0, None, 6.0, "Its largest is 5.5 m²"),
        (ADULT, 2.5, 1.0, None, 4.0, "can't be sailed back"),
    ],
)
def test_it_says_in_words_what_forbids(
    rider: Rider, kn: float, gust_ratio: float, shore: wind.Shore | None, area: float, words: str
) -> None:
    (only,) = recommend(rider, [sail(area)], on_beach(kn, gust_ratio), shore=shore)

    assert any(words in veto.text for veto in only.vetoes)


def test_it_recommends_nothing_from_a_shed_of_sails_too_large() -> None:
    found = recommend(Rider(mass_kg=45, level=Level.ADVANCED), [sail(8.5), sail(9.0)], on_beach(24))

    assert not any(r.fits for r in found)


MASSES_KG = np.linspace(25, 120, 96)
BEACH_KN = np.linspace(3, 34, 63)


@pytest.fixture(scope="module", params=list(Level))
def best_m2(request: pytest.FixtureRequest) -> FloatArray:
    """Best sail of the shed by mass, beach wind and gust ratio for one level, NaN where none fits."""
    areas = np.array([sail.area_m2 for sail in SHED])
    people = [Rider(mass_kg=float(mass), level=request.param) for mass in MASSES_KG]
    times = [on_beach(float(kn), ratio) for kn in BEACH_KN for ratio in (1.0, 1.2, 1.45, 1.6)]
    found = suitability(areas, people, times, exact=True)
    worth = np.where(found.veto, -np.inf, found.utility)
    best = np.where(np.isfinite(worth.max(axis=1)), areas[worth.argmax(axis=1)], np.nan)
    return best.reshape(len(MASSES_KG), len(BEACH_KN), 4)


def test_it_never_gives_a_heavier_rider_a_smaller_sail(
    best_m2: FloatArray,
) -> None:
    steps = np.diff(best_m2, axis=0)

    assert np.isfinite(steps).sum() > 1000
    assert not (steps < 0).any()


def test_it_never_gives_a_larger_sail_for_more_wind(
    best_m2: FloatArray,
) -> None:
    steps = np.diff(best_m2, axis=1)

    assert np.isfinite(steps).sum() > 1000
    assert not (steps > 0).any()


def test_it_calls_light_wind_cruising_for_those_who_plane() -> None:
    assert recommend(ADULT, SHED, on_beach(8))[0].mode is Mode.CRUISING


def test_it_never_says_that_a_beginner_planes() -> None:
    rider = Rider(mass_kg=75, level=Level.BEGINNER)

    assert {r.mode for r in recommend(rider, SHED, on_beach(9))} == {Mode.NOT_PLANING}


def test_it_offers_one_size_down() -> None:
    found = recommend(ADULT, SHED, on_beach(20))
    down = one_size_down(found, found[0])

    assert down is not None
    assert down.fits
    assert down.sail.area_m2 == found[0].sail.area_m2 - 0.5


def test_it_offers_nothing_below_the_smallest() -> None:
    found = recommend(ADULT, [sail(5.0)], on_beach(20))

    assert one_size_down(found, found[0]) is None


def test_it_offers_no_smaller_sail_that_does_not_fit() -> None:
    found = recommend(ADULT, SHED, on_beach(6))
    smallest = min((r for r in found if r.fits), key=lambda r: r.sail.area_m2)

    assert smallest.sail.area_m2 > SHED[0].area_m2
    assert one_size_down(found, smallest) is None


def test_it_shows_the_window_of_the_slots_own_air() -> None:
    slot = steady(10.0, 12.0, temperature_c=0.0)

    (only,) = recommend(ADULT, [sail(5.0)], slot)

    assert only.window == wind_window(5.0, 75.0, air_density=slot.density_kg_m3)


def test_it_says_its_window_in_knots_of_beach_wind() -> None:
    best = next(r for r in recommend(ADULT, SHED, on_beach(20)) if r.sail.area_m2 == 5.0)

    assert best.window == wind_window(5.0, 75.0)
    assert [round(knots(edge)) for edge in best.window] == [16, 20, 27]
    assert (
        "from 16 kn of beach wind, is at its best at 20 kn and is too much from 27 kn" in best.reasons[0].text
    )


@given(rider=riders(), slot=slots(), shore=st.sampled_from([None, *wind.Shore]), boat=st.booleans())
def test_it_gives_every_number_a_sentence_a_rule_and_a_source(
    rider: Rider, slot: wind.SlotWind, shore: wind.Shore | None, boat: bool
) -> None:
    for r in recommend(rider, SHED[::3], slot, shore=shore, safety_boat=boat):
        for reason in (*r.reasons, *r.vetoes):
            assert reason.text.endswith(".")
            assert reason.rule
            assert reason.source
            assert "nan" not in reason.text


@pytest.mark.parametrize(("shore", "said"), [(None, True), (wind.Shore.SIDE_SHORE, False)])
def test_it_says_when_the_shore_angle_is_not_known(shore: wind.Shore | None, said: bool) -> None:
    best = recommend(ADULT, SHED, on_beach(20), shore=shore)[0]

    assert any("not known" in reason.text for reason in best.reasons) is said


def test_it_refuses_an_empty_shed() -> None:
    with pytest.raises(BadValue, match="areas_m2"):
        recommend(ADULT, [], on_beach(20))


@pytest.mark.parametrize(
    "bad",
    [
        {"mass_kg": 19},
        {"mass_kg": float("nan")},
        {"mass_kg": 75, "stature_m": 175},
        {"mass_kg": 75, "level": "champion"},
    ],
    ids=str,
)
def test_it_refuses_a_rider_without_sense(bad: dict[str, float]) -> None:
    with pytest.raises(BadValue, match=list(bad)[-1]):
        Rider(**bad)  # type: ignore[arg-type]
