"""Groups for teaching: everybody once, the fewest groups, and those that differ least."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging.groups import LEVEL_KG, Student, spare_sizes, spread_kg, suggest_groups
from rigging.levels import Level
from rigging.units import BadValue

students = st.lists(
    st.builds(
        lambda level, mass, language: (level, mass, language),
        st.sampled_from(list(Level)),
        st.integers(25, 120),
        st.sampled_from(["", "en", "pt"]),
    ),
    max_size=14,
).map(
    lambda rows: [
        Student(id=str(number), level=level, mass_kg=float(mass), language=language)
        for number, (level, mass, language) in enumerate(rows)
    ]
)


def of(*masses: float, level: Level = Level.BEGINNER, language: str = "") -> list[Student]:
    return [Student(id=f"{language}{mass}", level=level, mass_kg=mass, language=language) for mass in masses]


def masses(students: list[Student], most: int) -> list[list[float]]:
    return [[each.mass_kg for each in group.students] for group in suggest_groups(students, most)]


def test_light_and_heavy_learn_apart() -> None:
    """So that each group shares sails of one size: common practice, no source."""
    assert masses(of(95, 38, 42, 90, 85, 40), 3) == [[38, 40, 42], [85, 90, 95]]


def test_a_group_is_cut_where_the_masses_jump() -> None:
    """Four and two rather than three and three: 5 + 2 kg apart, against 3 + 42."""
    assert masses(of(40, 41, 43, 45, 84, 86), 4) == [[40, 41, 43, 45], [84, 86]]


def test_nobody_is_taught_in_another_language() -> None:
    found = suggest_groups([*of(60, 62, language="en"), *of(61, language="pt")], 6)

    assert [{each.language for each in group.students} for group in found] == [{"en"}, {"pt"}]


def test_a_level_parts_more_than_some_kilograms() -> None:
    both = [*of(60, 61, level=Level.BEGINNER), *of(60, 80, level=Level.IMPROVER)]

    assert masses(both, 3) == [[60, 61], [60, 80]]
    assert LEVEL_KG > 20


def test_its_reason_names_the_numbers() -> None:
    (group,) = suggest_groups(of(55, 71, language="en"), 6)

    assert group.reason.text == "2 of at most 6: beginner, 55 to 71 kg, en."


@given(students, st.integers(1, 6))
def test_everybody_is_in_one_group_no_group_too_large_and_no_group_too_many(
    found: list[Student], most: int
) -> None:
    groups = suggest_groups(found, most)

    assert sorted(each.id for group in groups for each in group.students) == sorted(each.id for each in found)
    assert all(len(group.students) <= most for group in groups)
    counts = [sum(each.language == language for each in found) for language in {s.language for s in found}]
    assert len(groups) == sum(-(-count // most) for count in counts)


@given(students.map(lambda found: [each for each in found if each.language == ""]), st.integers(1, 5))
def test_no_other_cut_of_the_row_differs_less(found: list[Student], most: int) -> None:
    """Against every cut there is, tried one by one."""
    found = found[:8]
    row = sorted(found, key=lambda each: (each.level.rank, each.mass_kg, each.id))
    fewest = -(-len(row) // most)

    best = min(
        (
            sum(spread_kg(row[a:b]) for a, b in pairwise((0, *cuts, len(row))))
            for cuts in cuts_of(len(row))
            if len(cuts) + 1 == fewest and all(b - a <= most for a, b in pairwise((0, *cuts, len(row))))
        ),
        default=0.0,
    )

    assert sum(spread_kg(group.students) for group in suggest_groups(found, most)) == pytest.approx(best)


def cuts_of(length: int) -> list[tuple[int, ...]]:
    """Every way to cut a row, none where it is empty."""
    if length == 0:
        return []
    places = range(1, length)
    return [tuple(place for place in places if mask >> (place - 1) & 1) for mask in range(1 << (length - 1))]


@pytest.mark.parametrize("most", [0, -1, 1000])
def test_a_size_that_cannot_be_is_refused(most: int) -> None:
    with pytest.raises(BadValue):
        suggest_groups(of(60), most)


def test_a_mass_that_cannot_be_is_refused() -> None:
    with pytest.raises(BadValue):
        suggest_groups([Student(id="1", level=Level.TASTER, mass_kg=float("nan"))], 6)


SPARES = [
    # sizes in use, spares; one for every four students begun: common practice, no source
    ([], ()),
    ([4.5], (4.5,)),
    ([4.5, 5.0, 5.7, 6.2], (5.0,)),
    ([5.7, 4.5, 5.0, 6.2, 6.9], (5.7, 4.5)),
    ([4.0] * 3 + [5.0] * 3 + [6.0] * 3, (5.0, 4.0, 6.0)),
]


@pytest.mark.parametrize(("used", "spares"), SPARES)
def test_spares_are_of_the_sizes_in_use_the_middle_first(
    used: list[float], spares: tuple[float, ...]
) -> None:
    assert spare_sizes(used) == spares


@pytest.mark.parametrize("area", [0.0, 16.0, float("nan")])
def test_a_size_that_no_sail_has_is_refused(area: float) -> None:
    with pytest.raises(BadValue):
        spare_sizes([area])
