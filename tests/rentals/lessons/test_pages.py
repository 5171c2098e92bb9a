"""The pages of lessons as staff see them: what they say, what they do, what stays typed when refused."""

from datetime import timedelta
from typing import Any

import pytest
from bs4 import BeautifulSoup
from django.test import Client

from rentals.lessons.models import (
    Absence,
    Assignment,
    Course,
    Feed,
    Lesson,
    LevelWord,
    Notice,
    Qualification,
    Shift,
)
from rentals.lessons.queries import progress_of, told
from rentals.people.models import User
from rentals.weather import services as weather
from tests.rentals.lessons.school import School
from tests.rentals.walk import DAY, HOUR

ROOT = "/tarrow-lagoon"
MOST_QUERIES = 18


def of(user: User) -> Client:
    """A browser of somebody signed in."""
    client = Client()
    client.force_login(user)
    return client


def words(client: Client, page: str, code: int = 200) -> str:
    """The text of a page, in one line."""
    return said(client.get(ROOT + page), code)


def said(answer: Any, code: int = 200) -> str:
    assert answer.status_code == code
    return " ".join(BeautifulSoup(answer.content, "html.parser").get_text(" ").split())


def blow(school: School, mean_ms: float) -> None:
    for day in range(2):
        midnight = school.cast.at(0) + day * DAY
        hour = weather.HandHour(
            starts_at=midnight, ends_at=midnight + DAY, mean_ms=mean_ms, gust_ms=None, from_deg=330.0
        )
        weather.enter_by_hand(
            actor=school.cast.boss, station_id=school.cast.tarrow.pk, hour=hour, now=school.cast.now
        )


A_COURSE = {
    "day": "2027-07-14", "starts_at": "14:00", "ends_at": "16:00", "days": "1", "name": "First steps",
    "level": "beginner", "language": "en", "seats": "6", "riders_to_one": "6", "children_to_one": "4",
    "youngest_years": "8", "low_ms": "6", "high_ms": "14",
}  # fmt: skip
A_PARTY = {
    "contact_name": "Tansy Rowan", "contact_phone": "0700 1", "rows": "1", "riders-0-name": "Tansy Rowan",
    "riders-0-born_on": "1995-03-01", "riders-0-mass_kg": "64", "riders-0-stature_cm": "168",
    "riders-0-level": "beginner", "riders-0-swims": "on",
}  # fmt: skip


class TestTheDay:
    def test_it_tells_each_lesson_with_seats_crew_and_what_it_lacks(self, school: School) -> None:
        lesson, user = school.lesson(), school.teacher()
        school.enrol(lesson)
        school.assign(lesson, user)
        blow(school, 20)

        page = words(of(school.cast.desk), "/lessons/")

        assert "14:00–16:00 First steps" in page
        assert "1 of 4 seats taken · Bryony Reed" in page
        assert "Nobody mans the safety boat." in page
        assert "Too strong" in page
        assert "The forecast speaks against 1 of these." in page

    def test_a_week_shows_every_day(self, school: School) -> None:
        school.lesson(days=2)

        page = words(of(school.cast.desk), "/lessons/?view=week")

        assert page.count("First steps") == 2
        assert "week of Mon 12 Jul 2027" in page
        assert "Sun 18 Jul 2027" in page

    def test_it_goes_out_as_csv(self, school: School) -> None:
        school.lesson(name="=Formula")

        answer = of(school.cast.desk).get(f"{ROOT}/lessons/?as=csv")

        assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
        assert "2027-07-14,14:00,16:00,'=Formula,beginner,en,planned,4,0" in answer.content.decode()

    def test_it_asks_no_more_with_more_lessons(
        self, school: School, django_assert_max_num_queries: Any
    ) -> None:
        for hour in (9, 11, 13, 15):
            school.enrol(school.lesson(hours=(hour,)), school.student(f"Student {hour}"))
        client = of(school.cast.desk)

        with django_assert_max_num_queries(MOST_QUERIES):
            client.get(f"{ROOT}/lessons/?view=week")


class TestPlanning:
    def test_the_desk_plans_a_lesson(self, school: School) -> None:
        answer = of(school.cast.desk).post(f"{ROOT}/lessons/new/", A_COURSE)

        assert answer.status_code == 302
        assert Lesson.objects.get().starts_at == school.cast.at(14)

    def test_a_course_over_a_change_of_clocks_keeps_its_hour(self, school: School) -> None:
        """Days about 31 October 2027, when Lisbon's clocks go back."""
        of(school.cast.desk).post(f"{ROOT}/lessons/new/", {**A_COURSE, "day": "2027-10-30", "days": "3"})

        local = school.cast.tarrow.local
        starts = [local(lesson.starts_at) for lesson in Lesson.objects.order_by("starts_at")]
        assert [f"{start:%d %H:%M %z}" for start in starts] == [
            "30 14:00 +0100", "31 14:00 +0000", "01 14:00 +0000",
        ]  # fmt: skip

    @pytest.mark.parametrize(
        ("typed", "said_so"),
        [
            ({"high_ms": "3"}, "Enter a wind above the lowest"),
            ({"seats": "99"}, "Enter a number between 1 and 30 seats."),
            ({"starts_at": "25:00"}, "Enter a time such as 14:30."),
            ({"ends_at": "23:00"}, "Enter at most eight hours."),
        ],
    )
    def test_what_is_wrong_is_said_and_what_was_typed_stays(
        self, school: School, typed: dict[str, str], said_so: str
    ) -> None:
        answer = of(school.cast.desk).post(f"{ROOT}/lessons/new/", {**A_COURSE, "about": "Kept", **typed})

        assert said_so in said(answer, 422)
        assert b'value="Kept"' in answer.content
        assert not Course.objects.exists()

    def test_a_course_is_changed_and_gets_another_lesson(self, school: School) -> None:
        course, client = school.course(), of(school.cast.desk)
        page = f"{ROOT}/lessons/courses/{course.pk}/"
        assert "First steps" in said(client.get(page))

        client.post(page, {**A_COURSE, "seats": "8"})
        client.post(page, {"which": "lesson", "day": "2027-07-16", "starts_at": "10:00", "ends_at": "12:00"})

        course.refresh_from_db()
        assert (course.seats, course.lessons.count()) == (8, 2)

    def test_of_the_other_station_there_is_no_course(self, school: School) -> None:
        course = school.course()

        answer = of(school.cast.neighbour).get(f"/kettle-bay/lessons/courses/{course.pk}/")

        assert answer.status_code == 404


class TestTheLesson:
    def test_it_tells_students_groups_and_who_could_teach(self, school: School) -> None:
        lesson = school.lesson()
        school.teacher()
        school.enrol(lesson, school.student("Sedge Rowan"), school.student("Teasel Rowan"))

        page = words(of(school.cast.desk), f"/lessons/{lesson.pk}/")

        assert "Students, 2 of 4" in page
        assert "1 more instructor needed. 1 instructor for 2 students" in page
        assert "Bryony Reed, teaching (not on the roster then)" in page
        assert "Ida Desk, teaching: No paper to teach beginner riders on that day." in page
        assert "2 of at most 6: beginner, 72 to 72 kg." in page

    def test_somebody_is_given_it_and_taken_out(self, school: School) -> None:
        lesson, user, client = school.lesson(), school.teacher(), of(school.cast.desk)

        client.post(f"{ROOT}/lessons/{lesson.pk}/assign/", {"who": f"{user.pk}.teach"})
        made = Assignment.objects.get(live=True)
        client.post(f"{ROOT}/lessons/{lesson.pk}/crew/{made.pk}/release/")

        assert not Assignment.objects.filter(live=True).exists()

    def test_it_moves_and_everyone_is_told(self, school: School) -> None:
        lesson, client = school.lesson(), of(school.cast.desk)
        school.enrol(lesson)
        typed = {"which": "move", "day": "2027-07-15", "starts_at": "10:00", "ends_at": "12:00", "moves": "0"}

        answer = client.post(f"{ROOT}/lessons/{lesson.pk}/", {**typed, "why": "More wind"}, follow=True)

        assert "Moved; everyone is told." in said(answer)
        assert Notice.objects.get().by_letter

    def test_without_a_reason_it_stays_and_so_does_what_was_typed(self, school: School) -> None:
        lesson = school.lesson()
        typed = {"which": "move", "day": "2027-07-15", "starts_at": "10:10", "ends_at": "12:00", "moves": "0"}

        answer = of(school.cast.desk).post(f"{ROOT}/lessons/{lesson.pk}/", {**typed, "why": ""})

        assert "This is needed." in said(answer, 422)
        assert b'value="10:10"' in answer.content

    def test_it_is_called_off_and_a_party_without_an_address_is_phoned(self, school: School) -> None:
        lesson, client = school.lesson(), of(school.cast.desk)
        client.post(f"{ROOT}/lessons/{lesson.pk}/enrol/", A_PARTY)

        page = said(
            client.post(
                f"{ROOT}/lessons/{lesson.pk}/",
                {"which": "off", "moves": "0", "off_why": "No wind"},
                follow=True,
            )
        )
        assert "call 0700 1" in page

        shown = client.get(f"{ROOT}/lessons/{lesson.pk}/")
        form = BeautifulSoup(shown.content, "html.parser").find("form", action=lambda to: to and "told" in to)
        assert form is not None
        client.post(str(form["action"]))
        assert "by phone, Wed 14 Jul 2027, 10:00" in words(client, f"/lessons/{lesson.pk}/")

    def test_groups_are_set(self, school: School) -> None:
        lesson, client = school.lesson(), of(school.cast.desk)
        school.enrol(lesson)
        (seat,) = school.seats(lesson)

        client.post(f"{ROOT}/lessons/{lesson.pk}/", {"which": "groups", f"group.{seat.pk}": "2"})

        assert "group 2" in words(client, f"/lessons/{lesson.pk}/")

    def test_its_students_go_out_as_csv(self, school: School) -> None:
        lesson = school.lesson()
        school.enrol(lesson)

        answer = of(school.cast.desk).get(f"{ROOT}/lessons/{lesson.pk}/?as=csv")

        assert "1,Sedge Rowan,beginner,72.0" in answer.content.decode()

    def test_it_asks_no_more_with_more_students(
        self, school: School, django_assert_max_num_queries: Any
    ) -> None:
        lesson = school.lesson(seats=10)
        for number in range(6):
            school.enrol(lesson, school.student(f"Student {number}"))
        client = of(school.cast.desk)

        with django_assert_max_num_queries(MOST_QUERIES):
            client.get(f"{ROOT}/lessons/{lesson.pk}/")


class TestEnrolling:
    def test_a_new_student_has_a_seat(self, school: School) -> None:
        lesson = school.lesson()

        of(school.cast.desk).post(f"{ROOT}/lessons/{lesson.pk}/enrol/", A_PARTY)

        assert [seat.outing.rider.name for seat in school.seats(lesson)] == ["Tansy Rowan"]

    def test_whoever_loses_the_last_seat_is_told_and_keeps_what_they_typed(self, school: School) -> None:
        lesson, client = school.lesson(seats=1), of(school.cast.desk)
        assert "1 of 1 seats left" in said(client.get(f"{ROOT}/lessons/{lesson.pk}/enrol/"))
        school.enrol(lesson)

        answer = client.post(f"{ROOT}/lessons/{lesson.pk}/enrol/", A_PARTY)

        page = said(answer, 422)
        assert "0 of 1 seats are left in First steps" in page
        typed = {
            tag.get("name"): tag.get("value")
            for tag in BeautifulSoup(answer.content, "html.parser").find_all("input")
        }
        assert {name: typed[name] for name in A_PARTY if name in typed and name != "riders-0-swims"} == {
            name: value for name, value in A_PARTY.items() if name not in ("riders-0-level", "riders-0-swims")
        }

    def test_more_rows_keep_what_is_typed_and_ask_for_nothing(self, school: School) -> None:
        lesson = school.lesson()

        answer = of(school.cast.desk).post(
            f"{ROOT}/lessons/{lesson.pk}/enrol/", {"contact_name": "Tansy", "rows": "2", "more": "1"}
        )

        assert answer.status_code in (200, 422)
        assert b"riders-3-name" in answer.content
        assert b'value="Tansy"' in answer.content


class TestProgress:
    def test_an_instructor_ticks_what_they_saw(self, school: School) -> None:
        rider, lesson = school.student(), school.lesson()

        of(school.cast.instructor).post(
            f"{ROOT}/riders/{rider.pk}/progress/?lesson={lesson.pk}",
            {"which": "skills", "skill.beginner.tack": "on"},
        )

        story = progress_of(rider)
        assert story.seen == {"beginner.tack"}
        assert story.lines[0].lesson == lesson

    def test_the_desk_sees_it_and_is_offered_no_tick(self, school: School) -> None:
        rider = school.student()
        client = of(school.cast.desk)

        page = words(client, f"/riders/{rider.pk}/progress/")
        refused = client.post(
            f"{ROOT}/riders/{rider.pk}/progress/", {"which": "skills", "skill.beginner.tack": "on"}
        )

        assert "Instructors and managers note what they saw." in page
        assert "Give my word" not in page
        assert refused.status_code == 403

    def test_their_word_changes_the_level(self, school: School) -> None:
        rider, client = school.student(), of(school.cast.instructor)

        client.post(
            f"{ROOT}/riders/{rider.pk}/progress/",
            {"which": "level", "seen_level": "beginner", "level": "improver", "why": "Tacks both ways"},
        )

        assert LevelWord.objects.get().new == "improver"
        assert "Level beginner → improver: Tacks both ways" in words(client, f"/riders/{rider.pk}/progress/")

    def test_another_level_s_lines_can_be_looked_at(self, school: School) -> None:
        rider = school.student()

        assert "Starts from the water" in words(
            of(school.cast.desk), f"/riders/{rider.pk}/progress/?level=intermediate"
        )


class TestTheWind:
    def test_staff_decide_in_one_step(self, school: School) -> None:
        lesson, client = school.lesson(), of(school.cast.desk)
        school.enrol(lesson)
        blow(school, 20)
        assert "Too strong" in words(client, "/lessons/wind/")

        client.post(f"{ROOT}/lessons/wind/", {f"do.{lesson.pk}": "off"})

        lesson.refresh_from_db()
        assert lesson.state == "cancelled"
        assert "The wind does not suit the lesson. Too strong" in Notice.objects.get().text

    def test_what_is_left_alone_stays(self, school: School) -> None:
        lesson = school.lesson()
        blow(school, 20)

        of(school.cast.desk).post(f"{ROOT}/lessons/wind/", {f"do.{lesson.pk}": "leave"})

        lesson.refresh_from_db()
        assert (lesson.state, lesson.moves) == ("planned", 0)

    def test_a_forecast_that_changed_meanwhile_asks_again(self, school: School) -> None:
        lesson = school.lesson()
        blow(school, 20)

        answer = of(school.cast.desk).post(f"{ROOT}/lessons/wind/", {f"do.{lesson.pk}": "move.20270714T0800"})

        assert "The forecast has changed. Choose again." in said(answer, 422)

    def test_nothing_to_decide_is_said(self, school: School) -> None:
        school.lesson()

        assert "every lesson with a forecast has its wind" in words(of(school.cast.desk), "/lessons/wind/")


class TestTheRoster:
    def test_the_manager_changes_it(self, school: School) -> None:
        client, who = of(school.cast.manager), str(school.cast.instructor.pk)
        shift = {"day": "2027-07-14", "starts_at": "09:00", "ends_at": "17:00", "days": "2", "duty": "teach"}
        paper = {"kind": "boat", "level": "", "paper": "Boat licence", "since": "2027-01-01", "until": ""}

        client.post(f"{ROOT}/roster/", {"which": "shift", "user": who, **shift})
        client.post(f"{ROOT}/roster/", {"which": "paper", "user": who, **paper})
        client.post(
            f"{ROOT}/roster/",
            {"which": "absence", "user": who, "why": "ill", "first": "2027-07-15", "last": "2027-07-15"},
        )

        page = words(client, "/roster/")
        assert Shift.objects.filter(live=True).count() == 1
        assert Qualification.objects.get().paper == "Boat licence"
        assert "09:00–17:00 teaching" in page
        assert "Ill" in page

    def test_what_is_wrong_is_said(self, school: School) -> None:
        client, who = of(school.cast.manager), str(school.cast.instructor.pk)

        answer = client.post(
            f"{ROOT}/roster/",
            {"which": "absence", "user": who, "why": "ill", "first": "2027-07-15", "last": "2027-07-14"},
        )

        assert "Enter an end after the start." in said(answer, 422)
        assert not Absence.objects.exists()

    def test_the_desk_looks_and_changes_nothing(self, school: School) -> None:
        client = of(school.cast.desk)

        assert "Put somebody on the roster" not in words(client, "/roster/")
        assert client.post(f"{ROOT}/roster/shifts/1/drop/").status_code == 404

    def test_it_goes_out_as_csv(self, school: School) -> None:
        school.shift(school.teacher(), school.cast.at(9), school.cast.at(13))

        answer = of(school.cast.desk).get(f"{ROOT}/roster/?as=csv")

        assert "2027-07-14,Bryony Reed,09:00–13:00 teaching" in answer.content.decode()

    def test_a_calendar_s_address_is_shown_once_and_revoked_with_one_click(self, school: School) -> None:
        client = of(school.cast.desk)

        answer = client.post(f"{ROOT}/roster/calendars/", {"user": ""})

        field = BeautifulSoup(answer.content, "html.parser").find("input", id="address")
        assert field is not None
        token = str(field["value"]).rpartition("/")[2].removesuffix(".ics")
        assert answer.headers["Cache-Control"] == "no-store"
        assert told(token, now=school.cast.now) is not None
        assert token not in words(client, "/roster/")

        client.post(f"{ROOT}/roster/calendars/{Feed.objects.get().pk}/revoke/")

        assert told(token, now=school.cast.now + HOUR + timedelta(0)) is None
