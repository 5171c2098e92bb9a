"""Lessons moved or called off: students and crew with them, everyone told once, in one step or not at all."""

from datetime import timedelta

import pytest

from rentals.bookings import services as bookings
from rentals.bookings.models import Outing
from rentals.bookings.services import RiderAlreadyOut
from rentals.lessons import queries, services
from rentals.lessons.models import Assignment, Notice, Seat
from rentals.lessons.services import Change, LessonMoved, UnableToPlanLesson
from rentals.takings import services as takings
from rentals.weather import services as weather
from rigging import wind
from tests.rentals.lessons.school import KNOT_MS, School, facts
from tests.rentals.walk import DAY, HOUR


class TestMoving:
    def test_students_and_crew_move_with_their_lesson(self, school: School) -> None:
        lesson, user = school.lesson(), school.teacher()
        school.enrol(lesson)
        school.assign(lesson, user)

        moved = school.move(lesson, by=2 * HOUR)

        outing, member = Outing.objects.get(), Assignment.objects.get(live=True)
        assert (moved.starts_at, moved.moves) == (lesson.starts_at + 2 * HOUR, 1)
        assert outing.starts_at == member.starts_at == moved.starts_at
        assert outing.ends_at == member.ends_at == moved.ends_at

    def test_who_is_not_free_then_stays_behind_and_the_journal_says_so(self, school: School) -> None:
        lesson, user = school.lesson(hours=(11,)), school.teacher()
        school.assign(lesson, user)
        school.assign(school.lesson(hours=(14,), name="Harness"), user)

        school.move(lesson, by=2 * HOUR)

        assert Assignment.objects.filter(lesson=lesson, live=True).count() == 0
        assert "Not free at the new time: Bryony Reed" in school.cast.told("lesson", lesson.pk)

    def test_a_student_with_something_else_then_holds_all_changes_back(self, school: School) -> None:
        lesson, other = school.lesson(hours=(11,)), school.lesson(hours=(15,))
        student = school.student()
        school.enrol(lesson, student)
        school.cast.booked(student, hour=14)
        changes = [
            Change(lesson_id=each.pk, moves=0, why="Wind", starts_at=start, ends_at=start + 2 * HOUR)
            for each, start in ((other, school.cast.at(16)), (lesson, school.cast.at(13)))
        ]

        with pytest.raises(RiderAlreadyOut):
            services.change_lessons(
                actor=school.cast.ida, station_id=school.cast.tarrow.pk, changes=changes, now=school.cast.now
            )

        other.refresh_from_db()
        assert other.moves == 0
        assert not Notice.objects.exists()

    def test_a_page_that_is_behind_moves_nothing(self, school: School) -> None:
        lesson = school.lesson()
        school.move(lesson)

        with pytest.raises(LessonMoved, match="changed by a colleague"):
            school.move(lesson, moves=0)

    def test_it_does_not_move_out_of_the_opening_hours(self, school: School) -> None:
        with pytest.raises(UnableToPlanLesson, match="is open"):
            school.move(school.lesson(), by=8 * HOUR)

    def test_a_lesson_that_is_over_stays_as_it_was(self, school: School) -> None:
        lesson = school.lesson()

        with pytest.raises(LessonMoved, match="is over"):
            school.move(lesson, by=None, now=lesson.ends_at)

    def test_without_a_reason_nothing_moves(self, school: School) -> None:
        with pytest.raises(UnableToPlanLesson) as refused:
            school.move(school.lesson(), why=" ")

        assert set(refused.value.fields) == {"why"}


class TestCallingOff:
    def test_outings_are_cancelled_seats_and_crew_free(self, school: School) -> None:
        lesson, user = school.lesson(), school.teacher()
        school.enrol(lesson)
        school.assign(lesson, user)

        off = school.move(lesson, by=None)

        assert off.state == "cancelled"
        assert Outing.objects.get().state == "cancelled"
        assert not Seat.objects.filter(live=True).exists()
        assert school.assign(school.lesson(name="Harness"), user).live


class TestTelling:
    """Each party has its notices; letters are written from them, see `tests/rentals/home`."""

    def test_a_party_with_an_address_has_one_notice(self, school: School) -> None:
        lesson = school.lesson()
        school.enrol(lesson, facts("Tansy Rowan"), facts("Teasel Rowan"))

        school.move(lesson, by=2 * HOUR, why="The wind comes later.")

        notice = Notice.objects.get()
        assert notice.by_letter
        assert notice.text == (
            "First steps moves from Wednesday 14 July, 14:00–16:00 to Wednesday 14 July, 16:00–18:00. "
            "The wind comes later."
        )

    def test_of_two_changes_the_last_is_to_be_written(self, school: School) -> None:
        lesson = school.lesson()
        school.enrol(lesson)

        school.move(school.move(lesson), by=None)

        assert Notice.objects.count() == 2
        assert [each.change_no for each in Notice.objects.to_write(school.cast.now - HOUR)] == [2]

    def test_a_party_without_one_waits_to_be_phoned(self, school: School) -> None:
        lesson = school.lesson()
        school.enrol(lesson, contact=bookings.Contact(name="Sedge", phone="0700 300 400"))
        school.move(lesson, by=None)
        (notice,) = queries.sheet(lesson, school.cast.tarrow).notices
        assert not notice.by_letter
        assert not Notice.objects.to_write(school.cast.now - HOUR)

        told = services.note_told(actor=school.cast.ida, notice_id=notice.pk, now=school.cast.now)
        services.note_told(actor=school.cast.boss, notice_id=notice.pk, now=school.cast.now + HOUR)

        told.refresh_from_db()
        assert (told.told_by, told.told_at) == (school.cast.desk, school.cast.now)

    def test_who_cancelled_before_is_not_told(self, school: School) -> None:
        lesson = school.lesson()
        school.enrol(lesson)
        takings.cancel_outing(
            actor=school.cast.ida,
            outing_id=Outing.objects.get().pk,
            missed=False,
            reason="Ill",
            now=school.cast.now,
        )

        school.move(lesson)

        assert not Notice.objects.exists()


class TestByTheWind:
    """A lesson for 6 to 14 kn on the beach; what is forecast is the wind at 10 m."""

    def blow(self, school: School, *hours: tuple[int, int, float]) -> None:
        for first, last, beach_kn in hours:
            ten_metres = beach_kn * KNOT_MS / wind.BEACH_FACTOR
            services_wind(school, first, last, ten_metres)

    def proposals(self, school: School) -> list[tuple[str, str]]:
        local = school.cast.tarrow.local
        return [
            (each.text, f"{local(each.better.starts_at):%a %H:%M}" if each.better else "call off")
            for each in queries.wind_proposals(school.cast.tarrow, now=school.cast.now)
        ]

    def test_a_lesson_within_its_wind_stays(self, school: School) -> None:
        school.lesson()
        self.blow(school, (8, 20, 10))

        assert self.proposals(school) == []

    def test_without_a_forecast_nothing_is_proposed(self, school: School) -> None:
        school.lesson()

        assert self.proposals(school) == []

    def test_it_is_moved_to_the_nearest_time_with_its_wind(self, school: School) -> None:
        school.lesson(hours=(14,))
        self.blow(school, (8, 13, 10), (13, 20, 20))

        assert self.proposals(school) == [
            ("Too strong: 20 kn in the strongest hour, the lesson takes 6 to 14 kn.", "Wed 11:00")
        ]

    def test_or_to_the_next_day(self, school: School) -> None:
        school.lesson(hours=(14,))
        self.blow(school, (8, 20, 4), (8 + 24, 20 + 24, 9))

        assert self.proposals(school) == [
            ("Too light: 4 kn on average, the lesson takes 6 to 14 kn.", "Thu 14:00")
        ]

    def test_where_no_time_has_its_wind_it_is_called_off(self, school: School) -> None:
        school.lesson()
        self.blow(school, (8, 20, 25), (8 + 24, 20 + 24, 25))

        assert [to for _, to in self.proposals(school)] == ["call off"]

    def test_not_to_a_time_when_its_crew_or_a_student_has_something_else(self, school: School) -> None:
        lesson, user = school.lesson(hours=(15,)), school.teacher()
        student = school.student()
        school.enrol(lesson, student)
        school.assign(lesson, user)
        school.cast.booked(student, hour=12, hours=1)
        self.blow(school, (8, 15, 10), (15, 20, 20))

        # From eleven the crew and the student are free until noon, from one until three again.
        assert [to for _, to in self.proposals(school)] == ["Wed 13:00"]

        school.assign(school.lesson(hours=(13,), name="Harness"), user)
        assert "call off" in dict(self.proposals(school)).values()

    def test_it_asks_no_more_with_more_lessons(
        self, school: School, django_assert_num_queries: object
    ) -> None:
        user = school.teacher()
        for hour in (11, 13, 15):
            lesson = school.lesson(hours=(hour,))
            school.enrol(lesson, school.student(f"Student {hour}"))
            school.assign(lesson, user)
        self.blow(school, (8, 20, 25))

        # lessons, seats, crew, hours; hours of both days, outings, lessons of the crew
        with django_assert_num_queries(7):  # type: ignore[operator]
            assert len(queries.wind_proposals(school.cast.tarrow, now=school.cast.now)) == 3


def services_wind(school: School, first: int, last: int, mean_ms: float) -> None:
    """Enter a wind by hand; hours past midnight are of the next day."""
    midnight = school.cast.at(0)
    hour = weather.HandHour(
        starts_at=midnight + timedelta(hours=first),
        ends_at=midnight + timedelta(hours=last),
        mean_ms=mean_ms,
        gust_ms=None,
        from_deg=330.0,
    )
    weather.enter_by_hand(
        actor=school.cast.boss, station_id=school.cast.tarrow.pk, hour=hour, now=school.cast.now
    )


def test_a_day_s_lessons_ask_four_times_however_many(
    school: School, django_assert_num_queries: object
) -> None:
    for hour in (9, 11, 13):
        lesson = school.lesson(hours=(hour,))
        school.enrol(lesson, school.student(f"Student {hour}"))
    midnight = school.cast.at(0)

    # lessons, seats, crew, hours of wind
    with django_assert_num_queries(4):  # type: ignore[operator]
        rows = queries.lessons_between(school.cast.tarrow, midnight, midnight + DAY)

    assert [len(row.seats) for row in rows] == [1, 1, 1]
