"""How many instructors a group needs, which wind is one to teach in, and what each level can do."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging.checks import facts, skills
from rigging.checks.teaching import Ratio, instructors_needed, teachable
from rigging.levels import Level
from rigging.units import BadValue, from_knots

RATIO = Ratio(6, 4)
ages = st.lists(st.floats(6, 80), max_size=30)

GROUPS = [
    # ages, instructors; six to one is published (a national association's school checklist), four children to
    # one is common practice, no source; the counts are arithmetic.
    ([], 0),
    ([30] * 6, 1),
    ([30] * 7, 2),
    ([9] * 4, 1),
    ([9] * 5, 2),
    ([9, 9, 9, 30, 30, 30], 2),
    ([9, 9, 30, 30, 30], 1),
    ([11.9], 1),
    ([12] * 6, 1),
]


@pytest.mark.parametrize(("found", "count"), GROUPS)
def test_each_student_takes_a_share_of_an_instructor(found: list[float], count: int) -> None:
    assert instructors_needed(found, RATIO).instructors == count


def test_three_thirds_are_one_instructor() -> None:
    assert instructors_needed([30] * 3, Ratio(3, 3)).instructors == 1


def test_its_reason_names_students_and_ratio() -> None:
    assert instructors_needed([30, 9], RATIO).reason.text == (
        "1 instructor for 1 student and 1 child: at most 6 to one, 4 below 12 years."
    )


@given(ages)
def test_one_more_student_never_needs_fewer(found: list[float]) -> None:
    assert (
        instructors_needed([*found, 40.0], RATIO).instructors >= instructors_needed(found, RATIO).instructors
    )


def test_the_usual_ratio_is_the_launch_gate_s() -> None:
    """One number in two rooms: a lesson planned by it passes the gate."""
    for level in (Level.TASTER, Level.BEGINNER, Level.IMPROVER):
        assert Ratio.usual(level).riders == facts.DEFAULT_LIMITS.riders_per_instructor
        assert Ratio.usual(level).children <= Ratio.usual(level).riders


WINDS = [
    # mean, strongest hour, side; a range of 6 to 14 kn
    (6, 6, 0),
    (10, 14, 0),
    (5.9, 8, -1),
    (10, 14.1, 1),
    (5, 15, 1),
]


@pytest.mark.parametrize(("mean", "strongest", "side"), WINDS)
def test_the_mean_reaches_the_low_end_and_no_hour_passes_the_high(
    mean: float, strongest: float, side: int
) -> None:
    def ms(knots: float) -> float:
        return float(from_knots(knots))

    found = teachable(mean_ms=ms(mean), strongest_ms=ms(strongest), low_ms=ms(6), high_ms=ms(14))

    assert (found.side, found.ok) == (side, side == 0)


def test_a_wind_that_is_too_strong_says_how_strong() -> None:
    found = teachable(mean_ms=8.0, strongest_ms=9.8, low_ms=3.0, high_ms=7.2)

    assert found.reason.text == "Too strong: 19 kn in the strongest hour, the lesson takes 6 to 14 kn."


@pytest.mark.parametrize(
    "wrong", [{"mean_ms": float("nan")}, {"strongest_ms": -1.0}, {"high_ms": 2.0}, {"low_ms": float("inf")}]
)
def test_a_wind_that_cannot_blow_is_refused(wrong: dict[str, float]) -> None:
    usual = {"mean_ms": 5.0, "strongest_ms": 6.0, "low_ms": 3.0, "high_ms": 7.0}

    with pytest.raises(BadValue):
        teachable(**{**usual, **wrong})


@pytest.mark.parametrize("wrong", [2.0, 111.0, float("nan")])
def test_an_age_that_cannot_be_is_refused(wrong: float) -> None:
    with pytest.raises(BadValue):
        instructors_needed([wrong], RATIO)


class TestSkills:
    def test_every_level_has_some_and_every_key_its_level(self) -> None:
        for level in Level:
            assert skills.SKILLS[level]
            assert all(key.startswith(f"{level.value}.") for key, _ in skills.SKILLS[level])

    def test_what_was_seen_is_no_longer_open(self) -> None:
        keys = [key for key, _ in skills.SKILLS[Level.BEGINNER]]

        left = skills.open_lines(Level.BEGINNER, frozenset(keys[1:]))

        assert [key for key, _ in left] == keys[:1]
