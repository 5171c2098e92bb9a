"""Courses and lessons: planned within the day, changed while students stay, refused beside the field."""

from datetime import timedelta
from uuid import uuid4

import pytest

from rentals.lessons import services
from rentals.lessons.models import Course, Lesson
from rentals.lessons.services import CourseFacts, UnableToPlanLesson
from rentals.lib.problems import NotVisible
from tests.rentals.lessons.school import FACTS, School
from tests.rentals.walk import HOUR


def fields(school: School, **wrong: object) -> set[str]:
    with pytest.raises(UnableToPlanLesson) as refused:
        school.course(**wrong)  # type: ignore[arg-type]  # what is refused
    return set(refused.value.fields)


def test_a_course_has_a_lesson_on_each_of_its_days(school: School) -> None:
    course = school.course(days=3)

    starts = [school.cast.tarrow.local(lesson.starts_at) for lesson in course.lessons.order_by("starts_at")]

    assert [f"{start:%d %H:%M}" for start in starts] == ["14 14:00", "15 14:00", "16 14:00"]


def test_the_journal_tells_of_the_course_and_each_lesson(school: School) -> None:
    lesson = school.lesson(days=2)

    assert school.cast.told("course", lesson.course_id) == ["Planned First steps with 2 lessons"]
    assert school.cast.told("lesson", lesson.pk) == ["Planned for Wed 14 Jul, 14:00–16:00"]


def test_the_same_form_plans_once(school: School) -> None:
    key = uuid4()
    for _ in range(2):
        services.plan_course(
            actor=school.cast.ida,
            station_id=school.cast.tarrow.pk,
            facts=FACTS,
            spans=[(school.cast.at(14), school.cast.at(16))],
            once=key,
            now=school.cast.now,
        )

    assert (Course.objects.count(), Lesson.objects.count()) == (1, 1)


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"name": " "}, "name"),
        ({"level": "wizard"}, "level"),
        ({"seats": 0}, "seats"),
        ({"seats": 31}, "seats"),
        ({"riders_to_one": 0.5}, "riders_to_one"),
        ({"children_to_one": 13}, "children_to_one"),
        ({"youngest_years": 2}, "youngest_years"),
        ({"low_ms": -1.0}, "low_ms"),
        ({"high_ms": 2.0}, "high_ms"),
        ({"high_ms": 20.1}, "high_ms"),
        ({"language": ""}, "language"),
        ({"hours": (18,)}, "starts_at"),
        ({"hours": (6,)}, "starts_at"),
        ({"days": 15}, "days"),
    ],
)
def test_what_does_not_hold_together_is_said_beside_its_field(
    school: School, wrong: dict[str, object], field: str
) -> None:
    assert fields(school, **wrong) == {field}


@pytest.mark.parametrize(
    ("start", "length", "field"),
    [(-3, 2, "starts_at"), (4, 0, "ends_at"), (4, -1, "ends_at"), (1, 9, "ends_at")],
    ids=["over", "no time at all", "upside down", "too long"],
)
def test_a_time_that_cannot_be_is_refused(school: School, start: int, length: int, field: str) -> None:
    course = school.course()
    begins = school.cast.now + start * HOUR

    with pytest.raises(UnableToPlanLesson) as refused:
        services.add_lesson(
            actor=school.cast.ida,
            course_id=course.pk,
            starts_at=begins,
            ends_at=begins + length * HOUR,
            now=school.cast.now,
        )

    assert set(refused.value.fields) == {field}


def test_a_course_changes_and_the_journal_says_what(school: School) -> None:
    course = school.course()
    values = {name: getattr(FACTS, name) for name in FACTS.__dataclass_fields__}

    services.change_course(
        actor=school.cast.ida,
        course_id=course.pk,
        facts=CourseFacts(**{**values, "seats": 8}),
        now=school.cast.now,
    )

    course.refresh_from_db()
    assert course.seats == 8
    assert school.cast.told("course", course.pk)[0] == "Changed seats"


def test_seats_are_not_taken_from_under_a_student(school: School) -> None:
    lesson = school.lesson(seats=2)
    school.enrol(lesson, school.student("Sedge Rowan"), school.student("Teasel Rowan"))
    values = {name: getattr(FACTS, name) for name in FACTS.__dataclass_fields__}

    with pytest.raises(UnableToPlanLesson, match="higher seat number"):
        services.change_course(
            actor=school.cast.ida,
            course_id=lesson.course_id,
            facts=CourseFacts(**{**values, "seats": 1}),
            now=school.cast.now,
        )


def test_a_day_is_not_added_to_what_somebody_took_as_a_whole(school: School) -> None:
    lesson = school.lesson(sold_whole=True)
    school.enrol(lesson)
    later = lesson.starts_at + timedelta(days=1)

    with pytest.raises(UnableToPlanLesson, match="as a whole"):
        services.add_lesson(
            actor=school.cast.ida,
            course_id=lesson.course_id,
            starts_at=later,
            ends_at=later + HOUR,
            now=school.cast.now,
        )


def test_from_the_other_station_there_is_no_such_course(school: School) -> None:
    course = school.course()

    with pytest.raises(NotVisible):
        services.change_course(actor=school.cast.rhys, course_id=course.pk, facts=FACTS, now=school.cast.now)
