"""A lesson's students in the day plan: kitted together in one step or not at all, group by group."""

import pytest

from rentals.bookings.models import Outing
from rentals.dayplan.mapping.day import day_problem
from rentals.dayplan.queries.day import day_rows
from rentals.lessons import services
from rentals.lessons.models import Lesson
from tests.rentals.dayplan.day import Day
from tests.rentals.lessons.school import School


@pytest.fixture
def school(day: Day) -> School:
    """A school on the day to plan."""
    return School(day.cast)


def lesson(school: School) -> Lesson:
    """A lesson of the riders whom the shed serves, at eleven."""
    return school.lesson(hours=(11,), level="advanced", high_ms=15.0)


def named(day: Day) -> list[str | None]:
    """The group of each demand."""
    rows = day_rows(day.cast.tarrow, day.cast.now.date(), now=day.cast.now)
    problem, _aside = day_problem(rows)
    return [demand.group for demand in problem.demands]


def two_enrolled(day: Day, school: School) -> Lesson:
    """Wren and Reed, of two parties, in one lesson; the shed serves both."""
    day.two()
    Outing.objects.update(state="cancelled")
    found = lesson(school)
    school.enrol(found, day.cast.wren)
    school.enrol(found, Outing.objects.exclude(rider=day.cast.wren).get().rider)
    return found


def test_students_of_several_parties_are_one_group(day: Day, school: School) -> None:
    found = two_enrolled(day, school)

    assert named(day) == [f"lesson {found.pk}"] * 2


def test_groups_of_a_lesson_are_served_each_by_itself(day: Day, school: School) -> None:
    found = two_enrolled(day, school)
    first, second = school.seats(found)

    services.set_groups(
        actor=day.cast.ida, lesson_id=found.pk, groups={first.pk: 1, second.pk: 2}, now=day.cast.now
    )

    assert named(day) == [f"lesson {found.pk} group 1", f"lesson {found.pk} group 2"]


def test_one_accepted_plan_kits_the_whole_lesson(day: Day, school: School) -> None:
    found = two_enrolled(day, school)

    day.accepted()

    assert {seat.outing.state for seat in school.seats(found)} == {"kitted"}


def test_the_day_asks_no_more_with_more_students(
    day: Day, school: School, django_assert_num_queries: object
) -> None:
    two_enrolled(day, school)

    # outings, kit, items, holds, rigs, hours, wind limits, crew, seats
    with django_assert_num_queries(9):  # type: ignore[operator]
        day_rows(day.cast.tarrow, day.cast.now.date(), now=day.cast.now)
