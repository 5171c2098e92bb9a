"""Spare rigs on the beach: of the students' sizes, whole, promised to nobody, free again with the lesson."""

import pytest

from rentals.fleet.models import Hold, Kind
from rentals.lessons import queries
from rentals.rigs import services
from rentals.rigs.services import UnableToKit
from tests.rentals.lessons.school import School
from tests.rentals.walk import HOUR


def keep(school: School, lesson_id: int) -> list[str]:
    """Keep spares; return the tags of their sails."""
    kept = services.keep_spares(actor=school.cast.ida, lesson_id=lesson_id, now=school.cast.now)
    return [rig.items[Kind.SAIL].tag for rig in kept]


def test_a_student_on_the_5_7_has_the_next_smaller_free_sail_as_a_spare(school: School) -> None:
    """The only 5.7 is the student's; the 5.0 is next, and the 4.5 after it."""
    assert keep(school, school.kitted().pk) == ["S1"]


def test_the_whole_rig_is_held_for_the_lesson_and_its_turn_round(school: School) -> None:
    lesson = school.kitted()

    keep(school, lesson.pk)

    holds = Hold.objects.filter(purpose=f"spare for lesson {lesson.pk}", live=True)
    assert {hold.item.model.kind for hold in holds.select_related("item__model")} == {
        "sail", "mast", "boom", "extension", "base",
    }  # fmt: skip
    assert {(hold.starts_at, hold.ends_at) for hold in holds} == {
        (lesson.starts_at, lesson.ends_at + HOUR / 4)
    }
    shown = queries.sheet(lesson, school.cast.tarrow).spares
    assert {item.pk for item in shown} == {hold.item_id for hold in holds}


def test_choosing_again_keeps_no_more_than_before(school: School) -> None:
    lesson = school.kitted()
    keep(school, lesson.pk)

    keep(school, lesson.pk)

    assert Hold.objects.filter(purpose=f"spare for lesson {lesson.pk}", live=True).count() == 5


@pytest.mark.parametrize("by", [HOUR, None], ids=["moved", "called off"])
def test_they_are_free_again_when_the_lesson_goes(school: School, by: object) -> None:
    lesson = school.kitted()
    keep(school, lesson.pk)

    school.move(lesson, by=by)  # type: ignore[arg-type]  # a time, or none

    assert not Hold.objects.filter(purpose=f"spare for lesson {lesson.pk}", live=True).exists()


def test_before_anybody_has_a_sail_there_is_nothing_to_match(school: School) -> None:
    lesson = school.lesson()
    school.enrol(lesson)

    with pytest.raises(UnableToKit, match="Plan the kit first"):
        keep(school, lesson.pk)


def test_a_lesson_called_off_needs_none(school: School) -> None:
    lesson = school.lesson()
    school.move(lesson, by=None)

    with pytest.raises(UnableToKit, match="called off or over"):
        keep(school, lesson.pk)
