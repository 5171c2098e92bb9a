"""Seats: taken once, given back when an outing is called off, refused with what to do instead."""

from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest

from rentals.bookings import services as bookings
from rentals.bookings.models import Booking, Outing
from rentals.lessons import queries, services
from rentals.lessons.models import Seat
from rentals.lessons.services import LessonFull, UnableToEnrol, UnableToPlanLesson
from rentals.lib.access import Act, Actor
from rentals.lib.problems import NotVisible
from rentals.lib.writes import write
from rentals.takings import services as takings
from tests.rentals.lessons.school import School, facts
from tests.rentals.walk import HOUR


def cancel(school: School, outing: Outing) -> None:
    takings.cancel_outing(
        actor=school.cast.ida, outing_id=outing.pk, missed=False, reason="Ill", now=school.cast.now
    )


def test_a_student_has_a_seat_and_an_outing_of_the_lesson_s_time(school: School) -> None:
    lesson = school.lesson()

    booking = school.enrol(lesson, facts("Tansy Rowan"))

    (seat,) = school.seats(lesson)
    assert booking.kind == Booking.Kind.LESSON
    assert (seat.number, seat.outing.rider.name) == (1, "Tansy Rowan")
    assert (seat.outing.starts_at, seat.outing.ends_at) == (lesson.starts_at, lesson.ends_at)
    assert school.cast.told("lesson", lesson.pk)[0] == "Tansy Rowan has seat 1"


def test_a_party_sits_together_or_not_at_all(school: School) -> None:
    lesson = school.lesson(seats=2)
    school.enrol(lesson)

    with pytest.raises(LessonFull, match="1 of 2 seats is left in First steps, Wed 14 Jul, 14:00"):
        school.enrol(lesson, facts("Tansy Rowan"), facts("Teasel Rowan"))

    assert len(school.seats(lesson)) == 1
    assert Outing.objects.count() == 1


def test_a_course_taken_as_a_whole_gives_a_seat_in_each_of_its_lessons(school: School) -> None:
    lesson = school.lesson(days=3, sold_whole=True)

    booking = school.enrol(lesson, facts("Tansy Rowan"), facts("Teasel Rowan"))

    assert Outing.objects.filter(booking=booking).count() == 6
    assert Seat.objects.taken().count() == 6
    assert len({seat.outing.rider_id for seat in Seat.objects.select_related("outing")}) == 2


def test_a_single_lesson_of_a_course_takes_no_other_seats(school: School) -> None:
    lesson = school.lesson(days=3)

    school.enrol(lesson)

    assert Seat.objects.taken().count() == 1


def test_the_seat_of_an_outing_called_off_is_free_for_the_next(school: School) -> None:
    lesson = school.lesson(seats=1)
    school.enrol(lesson, school.student("Sedge Rowan"))
    cancel(school, school.seats(lesson)[0].outing)

    school.enrol(lesson, school.student("Teasel Rowan"))

    assert [seat.outing.rider.name for seat in school.seats(lesson)] == ["Teasel Rowan"]


def test_the_same_form_enrols_once(school: School) -> None:
    lesson, key, rider = school.lesson(), uuid4(), school.student()

    first, second = (school.enrol(lesson, rider, once=key) for _ in range(2))

    assert first.pk == second.pk
    assert len(school.seats(lesson)) == 1


@pytest.mark.parametrize(
    ("wrong", "field", "said"),
    [
        ({"born_on": date(2020, 7, 15)}, "riders.0.born_on", "from 8 years on"),
        ({"level": "taster"}, "riders.0.level", "is for improver riders; Tansy Rowan is taster"),
    ],
    ids=["too young", "two levels below"],
)
def test_a_student_whom_it_is_not_for_is_refused_beside_the_field(
    school: School, wrong: dict[str, Any], field: str, said: str
) -> None:
    lesson = school.lesson(level="improver")

    with pytest.raises(UnableToEnrol, match=said) as refused:
        school.enrol(lesson, facts(**{"level": "beginner", **wrong}))

    assert set(refused.value.fields) == {field}
    assert not Seat.objects.exists()


def test_the_eighth_birthday_is_old_enough(school: School) -> None:
    lesson = school.lesson()

    school.enrol(lesson, facts(born_on=date(2019, 7, 14)))

    assert len(school.seats(lesson)) == 1


def test_a_lesson_called_off_takes_nobody(school: School) -> None:
    lesson = school.lesson()
    school.move(lesson, by=None)

    with pytest.raises(UnableToEnrol, match="called off: Too strong"):
        school.enrol(lesson)


def test_a_lesson_that_is_over_takes_nobody(school: School) -> None:
    lesson = school.lesson()

    with pytest.raises(UnableToEnrol, match="is over"):
        school.enrol(lesson, now=lesson.ends_at)


def test_from_the_other_station_there_is_no_such_lesson(school: School) -> None:
    lesson = school.lesson()

    with pytest.raises(NotVisible):
        school.enrol(lesson, actor=school.cast.rhys)


@write
def _from_home(*, actor: Actor, lesson_id: int, contact: bookings.Contact, school: School) -> int:
    """What a write of another app does that has asked for a permission of its own."""
    actor.require(Act.LOOK, station_id=school.cast.tarrow.pk)
    _booking, seats = services.take_seats(
        actor=Actor(user_id=None, name="From home"),
        act=Act.ENROL,
        lesson_id=lesson_id,
        contact=contact,
        riders=[facts()],
        now=school.cast.now,
    )
    return seats[0].number


def test_another_write_can_take_seats_for_somebody_without_a_role(school: School) -> None:
    lesson = school.lesson()

    number = _from_home(
        actor=school.cast.ida,
        lesson_id=lesson.pk,
        contact=bookings.Contact(name="Tansy Rowan", email="tansy@rowan.invalid"),
        school=school,
    )

    assert number == 1


class TestOpenLessons:
    def at(self, school: School, *, days: int = 0, after: timedelta = timedelta(0)) -> list[tuple[str, int]]:
        day = school.cast.now.date() + timedelta(days=days)
        found = queries.open_lessons(school.cast.tarrow, day, now=school.cast.now + after)
        return [(each.name, each.left) for each in found]

    def test_it_says_how_many_seats_are_left(self, school: School) -> None:
        school.enrol(school.lesson())

        assert self.at(school) == [("First steps", 3)]

    def test_what_is_full_begun_or_called_off_is_not_offered(self, school: School) -> None:
        full, off = school.lesson(seats=1, name="Full"), school.lesson(name="Off")
        school.enrol(full)
        school.move(off, by=None)
        school.lesson(name="Begun", hours=(11,))

        assert self.at(school, after=HOUR) == []
        assert self.at(school) == [("Begun", 4)]

    def test_a_seat_given_back_is_left_again(self, school: School) -> None:
        lesson = school.lesson(seats=1)
        school.enrol(lesson)
        cancel(school, school.seats(lesson)[0].outing)

        assert self.at(school) == [("First steps", 1)]

    def test_a_whole_course_is_offered_with_its_next_lesson_and_its_fullest_day(self, school: School) -> None:
        lesson = school.lesson(days=2, sold_whole=True)
        school.enrol(lesson)

        (offered,) = queries.open_lessons(school.cast.tarrow, school.cast.now.date(), now=school.cast.now)

        assert (offered.left, len(offered.spans)) == (3, 2)
        assert self.at(school, days=1) == []

    def test_nothing_of_the_other_station_is_offered(self, school: School) -> None:
        school.lesson()

        assert queries.open_lessons(school.cast.kettle, school.cast.now.date(), now=school.cast.now) == ()

    def test_it_asks_twice_however_many_lessons(
        self, school: School, django_assert_num_queries: object
    ) -> None:
        for hour in (11, 13, 15):
            school.enrol(school.lesson(hours=(hour,)), school.student(f"Student {hour}"))

        with django_assert_num_queries(2):  # type: ignore[operator]  # the lessons; the seats taken
            assert len(self.at(school)) == 3


class TestGroups:
    def test_students_are_put_into_groups(self, school: School) -> None:
        lesson = school.lesson()
        school.enrol(lesson, school.student("Sedge Rowan"), school.student("Teasel Rowan"))
        first, second = school.seats(lesson)

        services.set_groups(
            actor=school.cast.ida,
            lesson_id=lesson.pk,
            groups={first.pk: 1, second.pk: 2},
            now=school.cast.now,
        )

        assert [seat.group_no for seat in school.seats(lesson)] == [1, 2]

    def test_a_seat_of_another_lesson_is_refused(self, school: School) -> None:
        lesson, other = school.lesson(), school.lesson(name="Other", hours=(11,))
        school.enrol(other)
        (seat,) = school.seats(other)

        with pytest.raises(UnableToPlanLesson, match="left this lesson"):
            services.set_groups(
                actor=school.cast.ida, lesson_id=lesson.pk, groups={seat.pk: 1}, now=school.cast.now
            )
