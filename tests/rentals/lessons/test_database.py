"""Every constraint and rule of lessons, tried around the services and refused by the database."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.apps import apps
from django.db import connection, models
from django.db.models import CheckConstraint

from rentals.bookings.models import Booking, Outing
from rentals.lessons.models import (
    Absence,
    Assignment,
    Course,
    Feed,
    Lesson,
    LevelWord,
    Notice,
    Progress,
    Qualification,
    Seat,
    Shift,
)
from tests.rentals.database.rows import HOUR, NOON, Rows, copied, inserted, refused_as_twin, refused_by
from tests.rentals.database.test_rules import apart, laid, meeting

pytestmark = pytest.mark.both_engines
DAY = timedelta(days=1)


@pytest.fixture
def rows(db: None) -> Rows:
    """Valid rows, made when first asked for."""
    return Rows()


def a_course(rows: Rows) -> Course:
    return Course.objects.create(
        station=rows.station,
        name="First steps",
        level="beginner",
        seats=2,
        riders_to_one=6,
        children_to_one=4,
        youngest_years=8,
        low_ms=3,
        high_ms=7,
        language="en",
    )


def a_lesson(rows: Rows) -> Lesson:
    return Lesson.objects.create(course=a_course(rows), starts_at=NOON, ends_at=NOON + HOUR, changed_at=NOON)


def an_outing(rows: Rows, **values: Any) -> Outing:
    booking = Booking.objects.create(party=rows.party, kind="lesson", booked_at=NOON)
    return rows.outing(**{"booking": booking, **values})


def a_seat(rows: Rows) -> Seat:
    return Seat.objects.create(lesson=a_lesson(rows), number=1, outing=an_outing(rows), taken_at=NOON)


def another_outing(rows: Rows) -> Outing:
    return an_outing(rows, rider=rows.another_rider())


def a_paper(rows: Rows) -> Qualification:
    return Qualification.objects.create(
        station=rows.station,
        user=rows.user,
        kind="teach",
        level="advanced",
        paper="Licence",
        since=date(2027, 1, 1),
        until=date(2027, 12, 31),
        seen_at=NOON,
    )


def a_shift(rows: Rows) -> Shift:
    return Shift.objects.create(
        station=rows.station, user=rows.user, duty="teach", starts_at=NOON, ends_at=NOON + HOUR, made_at=NOON
    )


def an_absence(rows: Rows) -> Absence:
    return Absence.objects.create(
        station=rows.station, user=rows.user, why="ill", starts_at=NOON, ends_at=NOON + HOUR
    )


def an_assignment(rows: Rows) -> Assignment:
    return Assignment.objects.create(
        lesson=a_lesson(rows), user=rows.user, duty="teach", starts_at=NOON, ends_at=NOON + HOUR
    )


def a_word(rows: Rows) -> LevelWord:
    return LevelWord.objects.create(
        rider=rows.rider, old="beginner", new="improver", why="Tacks", at=NOON, by=rows.user
    )


def a_line(rows: Rows) -> Progress:
    return Progress.objects.create(rider=rows.rider, skill="beginner.tack", seen=True, at=NOON, by=rows.user)


def a_notice(rows: Rows) -> Notice:
    return Notice.objects.create(
        lesson=a_lesson(rows), party=rows.party, change_no=1, text="Moved", by_letter=False, made_at=NOON
    )


def a_feed(rows: Rows) -> Feed:
    return Feed.objects.create(station=rows.station, user=rows.user, digest="0" * 64, made_at=NOON)


def the_station_s_feed(rows: Rows) -> Feed:
    return Feed.objects.create(station=rows.station, user=None, digest="0" * 64, made_at=NOON)


Row = Callable[[Rows], models.Model]

CHECKS: list[tuple[str, Row, dict[str, Any]]] = [
    ("course_level", a_course, {"level": "wizard"}),
    ("course_seats", a_course, {"seats": 0}),
    ("course_seats", a_course, {"seats": 31}),
    ("course_ratio", a_course, {"riders_to_one": 0.9}),
    ("course_ratio", a_course, {"children_to_one": 12.1}),
    ("course_youngest", a_course, {"youngest_years": 2}),
    ("course_wind", a_course, {"low_ms": -0.1}),
    ("course_wind", a_course, {"high_ms": 3}),
    ("course_wind", a_course, {"high_ms": 20.1}),
    ("lesson_state", a_lesson, {"state": "dreamt"}),
    ("lesson_span", a_lesson, {"ends_at": NOON}),
    ("lesson_span", a_lesson, {"ends_at": NOON + 8 * HOUR + timedelta(seconds=1)}),
    ("lesson_cancelled_says_why", a_lesson, {"state": "cancelled"}),
    ("seat_number", a_seat, {"number": 0, "live": False}),
    ("seat_group", a_seat, {"number": 2, "group_no": 0, "live": False}),
    ("qualification_kind", a_paper, {"kind": "juggling", "level": ""}),
    ("qualification_level", a_paper, {"level": ""}),
    ("qualification_level", a_paper, {"kind": "boat"}),
    ("qualification_span", a_paper, {"until": date(2026, 12, 31)}),
    ("shift_duty", a_shift, {"duty": "nap", "live": False}),
    ("shift_span", a_shift, {"ends_at": NOON, "live": False}),
    ("shift_span", a_shift, {"ends_at": NOON + 15 * HOUR, "live": False}),
    ("absence_why", an_absence, {"why": "bored"}),
    ("absence_span", an_absence, {"ends_at": NOON}),
    ("absence_span", an_absence, {"ends_at": NOON + 401 * DAY}),
    ("assignment_duty", an_assignment, {"duty": "nap", "live": False}),
    ("assignment_span", an_assignment, {"ends_at": NOON, "live": False}),
    ("level_word_levels", a_word, {"new": "wizard"}),
    ("level_word_levels", a_word, {"old": "wizard"}),
    ("level_word_changes", a_word, {"new": "beginner"}),
    ("level_word_says_why", a_word, {"why": ""}),
    ("notice_told_is_signed", a_notice, {"change_no": 2, "told_at": NOON}),
    ("feed_revoked_later", a_feed, {"digest": "1" * 64, "revoked_at": NOON - HOUR}),
]

TWINS: list[tuple[str, Row, tuple[str, ...], Callable[[Rows], dict[str, Any]]]] = [
    ("seat_taken_once", a_seat, ("lesson_id", "number"), lambda rows: {"outing": another_outing(rows)}),
    ("notice_once", a_notice, ("lesson_id", "party_id", "change_no"), lambda _: {}),
    ("one_live_feed_of_a_person", a_feed, ("station_id", "user_id"), lambda _: {"digest": "1" * 64}),
    ("one_live_feed_of_a_station", the_station_s_feed, ("station_id",), lambda _: {"digest": "1" * 64}),
]


@pytest.mark.parametrize(("name", "row", "wrong"), CHECKS)
def test_a_row_that_cannot_be_is_refused(rows: Rows, name: str, row: Row, wrong: dict[str, Any]) -> None:
    valid = row(rows)
    if isinstance(valid, Seat):
        wrong = {**wrong, "outing": another_outing(rows)}

    with refused_by(name):
        inserted(copied(valid, **wrong))


@pytest.mark.parametrize(("name", "row", "columns", "other"), TWINS, ids=[twin[0] for twin in TWINS])
def test_a_second_row_of_what_is_there_once_is_refused(
    rows: Rows, name: str, row: Row, columns: tuple[str, ...], other: Callable[[Rows], dict[str, Any]]
) -> None:
    first = row(rows)
    values = other(rows)

    with refused_as_twin(columns):
        inserted(copied(first, **values))


def test_a_seat_given_back_can_be_taken_again(rows: Rows) -> None:
    first = a_seat(rows)
    Seat.objects.filter(pk=first.pk).update(live=False)

    inserted(copied(first, outing=another_outing(rows), live=True))

    assert Seat.objects.filter(live=True).count() == 1


class TestOneLessonAtATime:
    rule = "one_lesson_at_a_time"

    def second(self, rows: Rows, start: datetime, end: datetime) -> Assignment:
        first = an_assignment(rows)
        other = Lesson.objects.create(
            course=first.lesson.course, starts_at=start, ends_at=end, changed_at=NOON
        )
        return copied(first, lesson=other, starts_at=start, ends_at=end)

    @meeting
    def test_a_second_that_meets_the_first_is_refused(
        self, rows: Rows, start: datetime, end: datetime
    ) -> None:
        again = self.second(rows, start, end)

        with refused_by(self.rule):
            inserted(again)

    @apart
    def test_a_second_apart_from_the_first_is_taken(self, rows: Rows, start: datetime, end: datetime) -> None:
        inserted(self.second(rows, start, end))

        assert Assignment.objects.filter(live=True).count() == 2

    def test_one_let_go_stands_in_nobody_s_way(self, rows: Rows) -> None:
        first = an_assignment(rows)
        Assignment.objects.filter(pk=first.pk).update(live=False)

        inserted(copied(first, live=True))


class TestOnDutyOnce:
    rule = "on_duty_once"

    @meeting
    def test_a_second_that_meets_the_first_is_refused(
        self, rows: Rows, start: datetime, end: datetime
    ) -> None:
        first = a_shift(rows)

        with refused_by(self.rule):
            inserted(copied(first, starts_at=start, ends_at=end))

    @apart
    def test_a_second_apart_from_the_first_is_taken(self, rows: Rows, start: datetime, end: datetime) -> None:
        inserted(copied(a_shift(rows), starts_at=start, ends_at=end))


class TestAwayIsNotTeaching:
    rule = "away_is_not_teaching"

    @meeting
    def test_who_is_away_has_no_lesson(self, rows: Rows, start: datetime, end: datetime) -> None:
        inserted(copied(an_absence(rows), starts_at=start, ends_at=end))
        Absence.objects.order_by("id").first().delete()  # type: ignore[union-attr]  # just made

        with refused_by(self.rule):
            an_assignment(rows)

    def test_who_is_back_has(self, rows: Rows) -> None:
        an_absence(rows)
        Absence.objects.update(live=False)

        assert an_assignment(rows).live


class TestAwayIsNotOnDuty:
    rule = "away_is_not_on_duty"

    def test_who_is_away_is_not_on_the_roster(self, rows: Rows) -> None:
        an_absence(rows)

        with refused_by(self.rule):
            a_shift(rows)


class TestAbsenceFreesDutiesFirst:
    rule = "absence_frees_duties_first"

    @pytest.mark.parametrize("duty", [a_shift, an_assignment], ids=["a shift", "a lesson"])
    def test_who_has_something_to_do_is_not_away(self, rows: Rows, duty: Row) -> None:
        duty(rows)

        with refused_by(self.rule):
            an_absence(rows)


class TestAssignedForTheLesson:
    rule = "assigned_for_the_lesson"

    def test_for_another_time_is_refused(self, rows: Rows) -> None:
        first = an_assignment(rows)
        Assignment.objects.update(live=False)

        with refused_by(self.rule):
            inserted(copied(first, live=True, ends_at=NOON + 2 * HOUR))

    def test_for_a_lesson_called_off_is_refused(self, rows: Rows) -> None:
        first = an_assignment(rows)
        Assignment.objects.update(live=False)
        Lesson.objects.update(state="cancelled", why="Wind")

        with refused_by(self.rule):
            inserted(copied(first, live=True))


class TestLessonLeavesNoCrewBehind:
    rule = "lesson_leaves_no_crew_behind"

    @pytest.mark.parametrize(
        "change", [{"ends_at": NOON + 2 * HOUR}, {"state": "cancelled", "why": "Wind"}], ids=["moved", "off"]
    )
    def test_it_neither_moves_nor_goes_without_them(self, rows: Rows, change: dict[str, Any]) -> None:
        an_assignment(rows)

        with refused_by(self.rule):
            Lesson.objects.update(**change)


class TestLessonMoves:
    rule = "lesson_moves"

    def test_what_is_called_off_stays_so(self, rows: Rows) -> None:
        a_lesson(rows)
        Lesson.objects.update(state="cancelled", why="Wind")

        with refused_by(self.rule):
            Lesson.objects.update(state="planned")


class TestSeatWithinTheCourse:
    rule = "seat_within_the_course"

    def test_a_number_beyond_is_refused(self, rows: Rows) -> None:
        first = a_seat(rows)
        other = another_outing(rows)

        with refused_by(self.rule):
            inserted(copied(first, number=3, outing=other))
        inserted(copied(first, number=2, outing=other))


class TestCourseKeepsItsStudents:
    rule = "course_keeps_its_students"

    def test_fewer_seats_than_are_taken_are_refused(self, rows: Rows) -> None:
        first = a_seat(rows)
        Seat.objects.update(number=2)

        with refused_by(self.rule):
            Course.objects.filter(pk=first.lesson.course_id).update(seats=1)


class TestSeatOfALessonBooking:
    rule = "seat_of_a_lesson_booking"

    def test_a_rental_has_no_seat(self, rows: Rows) -> None:
        lesson, rental = a_lesson(rows), rows.outing()

        with refused_by(self.rule):
            Seat.objects.create(lesson=lesson, number=1, outing=rental, taken_at=NOON)


@pytest.mark.parametrize(("row", "table"), [(a_line, "progress"), (a_word, "levelword")])
def test_what_an_instructor_said_stays_as_written(rows: Rows, row: Row, table: str) -> None:
    written = row(rows)

    with refused_by(f"lessons_{table}_append_only"):
        type(written)._base_manager.update(at=NOON + HOUR)
    with refused_by(f"lessons_{table}_append_only"):
        written.delete()


@pytest.mark.parametrize("table", ["progress", "levelword"])
def test_nor_is_it_emptied(rows: Rows, table: str) -> None:
    if connection.vendor == "sqlite":
        pytest.skip("SQLite has no TRUNCATE; a DELETE of all rows meets the rule above")

    with refused_by(f"lessons_{table}_append_only_truncate"), connection.cursor() as cursor:
        cursor.execute(f"TRUNCATE lessons_{table}")


def test_every_constraint_is_tried_here_and_stands_in_the_database(db: None) -> None:
    tried = {name for name, *_ in CHECKS} | {name for name, *_ in TWINS}
    declared: set[str] = set()
    there: set[str] = set()
    for model in apps.get_app_config("lessons").get_models():
        with connection.cursor() as cursor:
            found = connection.introspection.get_constraints(cursor, model._meta.db_table)
        for constraint in model._meta.constraints:
            declared.add(constraint.name)
            kind = "check" if isinstance(constraint, CheckConstraint) else "unique"
            if constraint.name in found and dict(found[constraint.name]).get(kind):
                there.add(constraint.name)

    assert tried == declared == there


def test_every_rule_of_lessons_is_tried_here() -> None:
    tried = {each.rule for name, each in globals().items() if name.startswith("Test")}
    tried |= {f"lessons_{table}_append_only" for table in ("progress", "levelword")}
    tried |= {f"lessons_{table}_append_only_truncate" for table in ("progress", "levelword")}
    of_lessons = {
        rule.name
        for rule in laid()
        if any("lessons_" in statement for statements in rule.statements.values() for statement in statements)
    }

    assert tried == of_lessons
