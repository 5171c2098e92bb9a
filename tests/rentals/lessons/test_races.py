"""A hundred at once, on both engines: no seat twice, nobody in two places, one winner of the last seat."""

from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial
from itertools import cycle

import pytest
from django.db import connection

from rentals.bookings.models import Booking, Outing
from rentals.lessons.models import Assignment, Lesson, Seat, Shift
from rentals.lessons.services import LessonFull, LessonMoved, NotFree
from rentals.lib.problems import Refused
from tests.rentals.lessons.school import School
from tests.rentals.test_races import at_once, told_apart, without_deadlock
from tests.rentals.walk import HOUR, Walk

RUSH = 100

pytestmark = pytest.mark.both_engines


@pytest.fixture
def school(committing: None, now: datetime) -> School:
    """The school on a database where writes commit."""
    return School(Walk(now))


MEETING = (
    "SELECT count(*) FROM {table} a JOIN {table} b ON a.user_id = b.user_id AND a.id < b.id "
    "WHERE a.live AND b.live AND a.starts_at < b.ends_at AND b.starts_at < a.ends_at"
)


def meeting(table: str) -> int:
    """Pairs of live rows of one person that meet, counted by a query that knows nothing of the rule."""
    with connection.cursor() as cursor:
        cursor.execute(MEETING.format(table=table))
        return int(cursor.fetchone()[0])


def seats_twice() -> int:
    """Pairs of live seats of one lesson with one number."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM lessons_seat a JOIN lessons_seat b ON a.lesson_id = b.lesson_id "
            "AND a.id < b.id AND a.number = b.number WHERE a.live AND b.live"
        )
        return int(cursor.fetchone()[0])


def attempts(school: School, lessons: list[Lesson], count: int) -> list[Callable[[], Booking]]:
    """Enrolments of as many riders, in the lessons in turn."""
    riders = [school.student(f"Student {number}") for number in range(count)]
    assert school.cast.ida
    return [
        partial(school.enrol, lesson, rider) for rider, lesson in zip(riders, cycle(lessons), strict=False)
    ]


def test_of_a_hundred_who_enrol_as_many_get_in_as_there_are_seats(school: School) -> None:
    lesson = school.lesson(seats=8)

    with without_deadlock():
        answers = at_once(*attempts(school, [lesson], RUSH))

    assert told_apart(answers) == {Booking: 8, LessonFull: RUSH - 8}
    assert sorted(Seat.objects.filter(live=True).values_list("number", flat=True)) == list(range(1, 9))
    assert seats_twice() == 0
    # Who was refused left nothing behind.
    assert (Outing.objects.count(), Booking.objects.count()) == (8, 8)


def test_over_several_lessons_each_is_filled_and_none_overfilled(school: School) -> None:
    lessons = [school.lesson(seats=5, hours=(hour,)) for hour in (9, 11, 13, 15)]

    with without_deadlock():
        answers = at_once(*attempts(school, lessons, RUSH))

    assert told_apart(answers) == {Booking: 20, LessonFull: RUSH - 20}
    assert seats_twice() == 0
    assert [Seat.objects.filter(lesson=lesson, live=True).count() for lesson in lessons] == [5] * 4


def test_the_last_seat_has_one_winner_and_the_other_is_told_what_to_do(school: School) -> None:
    lesson = school.lesson(seats=1)

    answers = at_once(*attempts(school, [lesson], 2))

    (refused,) = (answer for answer in answers if isinstance(answer, Refused))
    assert told_apart(answers) == {Booking: 1, LessonFull: 1}
    assert "0 of 1 seats are left in First steps" in refused.sentence
    assert "Choose another lesson, or enter fewer riders." in refused.sentence


def test_of_a_hundred_lessons_that_meet_one_person_teaches_one(school: School) -> None:
    course, user = school.course(), school.teacher()
    start = school.cast.at(14)
    # A hundred spans, all over half past two.
    lessons = [
        Lesson.objects.create(
            course=course,
            starts_at=start + timedelta(minutes=number % 30),
            ends_at=start + HOUR + timedelta(minutes=number % 50),
            changed_at=school.cast.now,
        )
        for number in range(RUSH)
    ]
    assert school.cast.ida

    with without_deadlock():
        answers = at_once(*(lambda lesson=lesson: school.assign(lesson, user) for lesson in lessons))

    assert told_apart(answers) == {Assignment: 1, NotFree: RUSH - 1}
    assert meeting("lessons_assignment") == 0


def test_one_person_is_put_on_the_roster_once(school: School) -> None:
    user, cast = school.teacher(), school.cast
    assert cast.boss

    with without_deadlock():
        answers = at_once(
            *(
                lambda minute=minute: school.shift(
                    user, cast.at(9) + timedelta(minutes=minute), cast.at(13) + timedelta(minutes=minute)
                )
                for minute in range(20)
            )
        )

    assert sum(not isinstance(answer, Refused) for answer in answers) == 1
    assert Shift.objects.filter(live=True).count() == 1
    assert meeting("lessons_shift") == 0


def test_two_desks_that_move_one_lesson_move_it_once(school: School) -> None:
    lesson = school.lesson()
    school.enrol(lesson)
    assert school.cast.ida

    answers = at_once(*(lambda hours=hours: school.move(lesson, by=hours * HOUR) for hours in (1, 2)))

    assert told_apart(answers) == {Lesson: 1, LessonMoved: 1}
    assert Outing.objects.get().starts_at == Lesson.objects.get().starts_at


def test_who_enrols_while_it_is_called_off_is_told_or_called_off_too(school: School) -> None:
    lesson = school.lesson()
    (enrol,) = attempts(school, [lesson], 1)

    at_once(enrol, lambda: school.move(lesson, by=None))

    assert not Outing.objects.filter(state="booked").exists()
    assert not Seat.objects.filter(live=True).exists()
