"""Lessons for programs: planned, enrolled, moved, ticked; refusals name the field in the body."""

from typing import Any

from tests.api.bodies import a_rider
from tests.api.client import Api
from tests.api.test_roles import A_COURSE
from tests.cast import Cast

PARTY = {"contact": {"name": "Tansy", "phone": "0700 1"}}


def planned(cast: Cast, api: Api, **other: Any) -> int:
    """Plan a course of one lesson; return the lesson's number."""
    desk = api.of(cast.desk)
    assert desk.post(f"/stations/{cast.tarrow.slug}/courses/", {**A_COURSE, **other}).status == 201
    rows = desk.get(f"/stations/{cast.tarrow.slug}/lessons/", day="2027-07-14").said["results"]
    return int(rows[-1]["id"])


class TestEnrolling:
    def test_a_student_stands_on_the_lesson(self, cast: Cast, api: Api) -> None:
        lesson = planned(cast, api)

        answer = api.of(cast.desk).post(f"/lessons/{lesson}/enrol/", {**PARTY, "new_riders": [a_rider()]})

        assert answer.status == 201
        assert answer.said["left"] == 3
        assert answer.said["seats"][0]["rider"]["name"] == "Sorrel Reed"
        assert answer.said["lesson"]["starts_at"] == "2027-07-14T14:00:00+01:00"
        assert answer.said["instructors_needed"] == 1

    def test_whoever_is_too_late_is_answered_409(self, cast: Cast, api: Api) -> None:
        """RFC 9110, section 15.5.10."""
        lesson, desk = planned(cast, api, seats=1), api.of(cast.desk)
        desk.post(f"/lessons/{lesson}/enrol/", {**PARTY, "new_riders": [a_rider()]})

        answer = desk.post(f"/lessons/{lesson}/enrol/", {**PARTY, "new_riders": [a_rider(name="Teasel")]})

        assert answer.status == 409
        assert answer.said["type"].endswith("/lesson-full/")
        assert "0 of 1 seats are left" in answer.said["detail"]

    def test_a_refusal_points_into_the_body(self, cast: Cast, api: Api) -> None:
        """RFC 6901; RFC 9457, section 3."""
        lesson = planned(cast, api)

        answer = api.of(cast.desk).post(
            f"/lessons/{lesson}/enrol/",
            {**PARTY, "rider_ids": [cast.wren.pk], "new_riders": [a_rider(born_on="2021-01-01")]},
        )

        assert "/new_riders/0/born_on" in {error["pointer"] for error in answer.said["errors"]}


class TestLooking:
    def test_open_lessons_say_how_many_seats_are_left(self, cast: Cast, api: Api) -> None:
        planned(cast, api)

        answer = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/lessons/open/", day="2027-07-14")

        assert [(each["name"], each["left"]) for each in answer.said["lessons"]] == [("First steps", 4)]

    def test_nobody_on_duty_is_an_empty_list(self, cast: Cast, api: Api) -> None:
        answer = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/instructors/")

        assert answer.said["instructors"] == []


class TestChanging:
    def test_a_lesson_moves_once_for_what_was_read(self, cast: Cast, api: Api) -> None:
        lesson, desk = planned(cast, api), api.of(cast.desk)
        change = {
            "moves": 0,
            "why": "More wind",
            "starts_at": "2027-07-14T15:00+01:00",
            "ends_at": "2027-07-14T17:00+01:00",
        }

        first, second = (desk.post(f"/lessons/{lesson}/change/", change) for _ in range(2))

        assert (first.status, first.said["lesson"]["moves"]) == (200, 1)
        assert (second.status, second.said["type"].rsplit("/", 2)[1]) == (409, "lesson-moved")

    def test_what_was_seen_is_kept_and_the_level_stays(self, cast: Cast, api: Api) -> None:
        ticks = {"shown": ["advanced.chop"], "seen": ["advanced.chop"]}

        answer = api.of(cast.instructor).post(f"/riders/{cast.wren.pk}/progress/", ticks)

        assert answer.said["level"] == "advanced"
        assert [each["key"] for each in answer.said["skills"] if each["seen"]] == ["advanced.chop"]
