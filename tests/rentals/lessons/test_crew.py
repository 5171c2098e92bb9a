"""Instructors and boat crew: with a paper that counts, free at the time, and never in two places."""

from datetime import date, timedelta

import pytest

from rentals.lessons import queries, services
from rentals.lessons.models import Absence, Assignment, Duty, Shift
from rentals.lessons.services import NotFree, NotQualified, PaperFacts, UnableToRoster
from rentals.people.models import User
from tests.rentals.lessons.school import School
from tests.rentals.walk import DAY, HOUR


def why_not(school: School, lesson: object, user: User, duty: str = Duty.TEACH) -> str:
    """What speaks against somebody, as the lesson's page says it."""
    found = queries.candidates(lesson, school.cast.tarrow)  # type: ignore[arg-type]  # a lesson
    return next(each.why_not for each in found if each.user == user and each.duty == duty)


class TestTeaching:
    def test_who_has_a_paper_is_given_the_lesson(self, school: School) -> None:
        lesson, user = school.lesson(), school.teacher()

        school.assign(lesson, user)

        assert school.cast.told("lesson", lesson.pk)[0] == "Bryony Reed teaches"

    def test_giving_it_twice_gives_it_once(self, school: School) -> None:
        lesson, user = school.lesson(), school.teacher()

        assert school.assign(lesson, user) == school.assign(lesson, user)

    @pytest.mark.parametrize(
        ("paper", "said"),
        [
            (None, "no paper to teach beginner riders on 14 Jul 2027"),
            ({"level": "taster"}, "no paper to teach beginner"),
            ({"until": date(2027, 7, 13)}, "no paper to teach beginner"),
            ({"since": date(2027, 7, 15)}, "no paper to teach beginner"),
            ({"kind": "first_aid"}, "no paper to teach beginner"),
        ],
        ids=[
            "none",
            "up to a lower level",
            "ended the day before",
            "begins the day after",
            "of another kind",
        ],
    )
    def test_who_has_none_that_counts_is_refused(
        self, school: School, paper: dict[str, object] | None, said: str
    ) -> None:
        lesson, user = school.lesson(), school.cast.instructor
        if paper is not None:
            school.paper(user, **paper)  # type: ignore[arg-type]  # a paper that does not count

        with pytest.raises(NotQualified, match=said):
            school.assign(lesson, user)
        assert why_not(school, lesson, user) == "No paper to teach beginner riders on that day."

    def test_a_paper_counts_on_its_last_day(self, school: School) -> None:
        school.paper(school.cast.instructor, until=date(2027, 7, 14))

        assert school.assign(school.lesson(), school.cast.instructor).live

    def test_two_lessons_that_meet_are_not_one_person_s(self, school: School) -> None:
        user = school.teacher()
        school.assign(school.lesson(hours=(13,)), user)
        other = school.lesson(hours=(14,), name="Harness")

        with pytest.raises(NotFree, match="another lesson then, or is away"):
            school.assign(other, user)
        assert why_not(school, other, user) == "In First steps then."

    def test_one_lesson_after_the_other_is(self, school: School) -> None:
        user = school.teacher()
        school.assign(school.lesson(hours=(12,)), user)

        school.assign(school.lesson(hours=(14,)), user)

        assert Assignment.objects.filter(user=user, live=True).count() == 2

    def test_nobody_mans_the_boat_and_teaches_at_once(self, school: School) -> None:
        lesson, user = school.lesson(), school.teacher()
        school.paper(user, "boat")
        school.assign(lesson, user)

        with pytest.raises(NotFree):
            school.assign(lesson, user, Duty.BOAT)

    def test_the_boat_wants_a_paper_of_its_own(self, school: School) -> None:
        with pytest.raises(NotQualified, match="no safety boat paper"):
            school.assign(school.lesson(), school.teacher(), Duty.BOAT)

    def test_who_is_taken_out_can_be_given_another(self, school: School) -> None:
        lesson, user = school.lesson(), school.teacher()
        made = school.assign(lesson, user)

        services.release(actor=school.cast.ida, assignment_id=made.pk, now=school.cast.now)

        assert school.assign(school.lesson(name="Harness"), user).live
        assert school.cast.told("lesson", lesson.pk)[0] == "Bryony Reed is out of it"

    def test_who_does_not_work_here_is_refused(self, school: School) -> None:
        with pytest.raises(UnableToRoster, match="who works here"):
            school.assign(school.lesson(), school.cast.neighbour)


class TestRoster:
    def test_two_shifts_of_one_person_do_not_meet(self, school: School) -> None:
        user = school.teacher()
        school.shift(user, school.cast.at(9), school.cast.at(13))

        with pytest.raises(NotFree, match="on the roster or away"):
            school.shift(user, school.cast.at(12), school.cast.at(17), Duty.BOAT)

    def test_all_days_are_kept_or_none(self, school: School) -> None:
        user, cast = school.teacher(), school.cast
        school.shift(user, cast.at(9) + 2 * DAY, cast.at(13) + 2 * DAY)

        with pytest.raises(NotFree):
            services.roster_shifts(
                actor=cast.boss,
                station_id=cast.tarrow.pk,
                user_id=user.pk,
                duty=Duty.TEACH,
                spans=[(cast.at(9) + day * DAY, cast.at(13) + day * DAY) for day in range(4)],
                now=cast.now,
            )

        assert Shift.objects.count() == 1

    def test_who_is_away_is_not_put_on_it(self, school: School) -> None:
        user = school.teacher()
        school.away(user, school.cast.at(0), school.cast.at(0) + DAY)

        with pytest.raises(NotFree):
            school.shift(user, school.cast.at(9), school.cast.at(13))

    def test_an_absence_frees_shifts_and_lessons_and_names_the_lessons(self, school: School) -> None:
        lesson, user = school.lesson(), school.teacher()
        school.assign(lesson, user)
        school.shift(user, school.cast.at(9), school.cast.at(17))

        lost = school.away(user, school.cast.at(8), school.cast.at(20))

        assert lost == [lesson]
        assert not Assignment.objects.filter(live=True).exists()
        assert not Shift.objects.filter(live=True).exists()
        assert school.cast.told("lesson", lesson.pk)[0] == "Bryony Reed is away then"
        assert why_not(school, lesson, user) == "Away then."

    def test_an_absence_taken_back_lets_them_work(self, school: School) -> None:
        user = school.teacher()
        school.away(user, school.cast.at(8), school.cast.at(20))

        services.end_absence(actor=school.cast.boss, absence_id=Absence.objects.get().pk, now=school.cast.now)

        assert school.assign(school.lesson(), user).live

    @pytest.mark.parametrize(
        ("facts", "field"),
        [
            (PaperFacts(kind="juggling", paper="Licence", since=date(2027, 1, 1)), "kind"),
            (PaperFacts(kind="teach", paper="Licence", since=date(2027, 1, 1)), "level"),
            (PaperFacts(kind="boat", paper=" ", since=date(2027, 1, 1)), "paper"),
            (
                PaperFacts(kind="boat", paper="Licence", since=date(2027, 1, 1), until=date(2026, 1, 1)),
                "until",
            ),
        ],
        ids=lambda value: value if isinstance(value, str) else "",
    )
    def test_a_paper_that_does_not_hold_together_is_refused(
        self, school: School, facts: PaperFacts, field: str
    ) -> None:
        with pytest.raises(UnableToRoster) as refused:
            services.keep_paper(
                actor=school.cast.boss,
                station_id=school.cast.tarrow.pk,
                user_id=school.cast.instructor.pk,
                facts=facts,
                now=school.cast.now,
            )

        assert set(refused.value.fields) == {field}

    def test_a_week_shows_shifts_lessons_absences_and_papers_that_end(self, school: School) -> None:
        user, cast = school.teacher(), school.cast
        school.paper(user, "first_aid", until=cast.now.date() + timedelta(days=10))
        school.shift(user, cast.at(9), cast.at(13))
        school.assign(school.lesson(hours=(14,)), user)
        school.away(user, cast.at(0) + DAY, cast.at(0) + 2 * DAY)

        week = queries.roster(cast.tarrow, cast.now.date(), today=cast.now.date())

        (row,) = (each for each in week.staff if each.user == user)
        week_of_lines = [[line.text for line in lines] for _day, lines in row.week]
        assert week_of_lines[0] == ["09:00–13:00 teaching", "14:00–16:00 First steps, teaching"]
        assert week_of_lines[1] == ["Ill"]
        assert week_of_lines[2:] == [[]] * 5
        assert [paper.word for paper in row.papers] == ["expires soon", "valid"]

    def test_a_week_asks_no_more_with_more_people(
        self, school: School, django_assert_num_queries: object
    ) -> None:
        for name in ("bryony", "tamsin", "perran"):
            school.shift(school.teacher(name), school.cast.at(9), school.cast.at(13))

        # staff, papers, shifts, lessons, absences, feeds
        with django_assert_num_queries(6):  # type: ignore[operator]
            queries.roster(school.cast.tarrow, school.cast.now.date(), today=school.cast.now.date())


class TestOnDuty:
    def names(self, school: School, hour: float = 10) -> list[str]:
        at = school.cast.at(0) + hour * HOUR
        return [each.name for each in queries.instructors_on_duty(school.cast.tarrow, at)]

    def test_who_is_on_the_roster_with_a_paper_is(self, school: School) -> None:
        school.shift(school.teacher(), school.cast.at(9), school.cast.at(13))

        assert self.names(school) == ["Bryony Reed"]

    @pytest.mark.parametrize(("hour", "here"), [(8.99, False), (9, True), (12.99, True), (13, False)])
    def test_from_the_first_minute_to_before_the_last(self, school: School, hour: float, here: bool) -> None:
        school.shift(school.teacher(), school.cast.at(9), school.cast.at(13))

        assert bool(self.names(school, hour)) is here

    def test_who_has_a_lesson_is_though_not_on_the_roster(self, school: School) -> None:
        school.assign(school.lesson(hours=(10,)), school.teacher())

        (found,) = queries.instructors_on_duty(school.cast.tarrow, school.cast.at(10))

        assert (found.in_lesson, found.until, found.level) == (True, school.cast.at(12), "advanced")

    def test_who_mans_the_boat_is_not(self, school: School) -> None:
        user = school.teacher()
        school.paper(user, "boat")
        school.shift(user, school.cast.at(9), school.cast.at(13), Duty.BOAT)

        assert self.names(school) == []

    def test_who_has_no_paper_that_day_is_not(self, school: School) -> None:
        school.shift(school.cast.instructor, school.cast.at(9), school.cast.at(13))

        assert self.names(school) == []

    def test_who_is_at_the_other_station_is_not(self, school: School) -> None:
        school.shift(school.teacher(), school.cast.at(9), school.cast.at(13))

        assert queries.instructors_on_duty(school.cast.kettle, school.cast.at(10)) == ()

    def test_it_asks_four_times_however_many_people(
        self, school: School, django_assert_num_queries: object
    ) -> None:
        for name in ("bryony", "tamsin", "perran"):
            school.shift(school.teacher(name), school.cast.at(9), school.cast.at(13))

        # shifts, lessons, absences, papers
        with django_assert_num_queries(4):  # type: ignore[operator]
            assert len(self.names(school)) == 3
