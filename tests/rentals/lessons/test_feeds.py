"""Calendar feeds: lessons and duties at a secret address, no rider's name, gone with one click."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz  # type: ignore[import-untyped]  # it ships no types
from django.test import Client

from rentals.lessons import queries, services
from rentals.lessons.models import Feed
from rentals.lessons.services import CourseFacts, UnableToRoster
from rentals.lib.ical import calendar
from rentals.lib.when import moment
from rentals.people.models import User
from tests.rentals.lessons.school import FACTS, School, facts
from tests.rentals.lib.rfc5545 import Component, read

ZONE = ZoneInfo("Europe/Lisbon")


def made(school: School, user: User | None = None) -> services.MadeFeed:
    return services.make_feed(
        actor=school.cast.ida,
        station_id=school.cast.tarrow.pk,
        user_id=None if user is None else user.pk,
        now=school.cast.now,
    )


def shown(school: School, token: str) -> list[Component]:
    told = queries.told(token, now=school.cast.now)
    assert told is not None
    return read(calendar(told.happenings, name=told.name)).inside


def test_a_station_s_feed_tells_every_lesson(school: School) -> None:
    lesson = school.lesson(days=2)
    school.enrol(lesson)

    first, _second = shown(school, made(school).token)

    assert first.one("SUMMARY") == "First steps"
    assert first.one("DESCRIPTION") == "beginner, en: 1 of 4 seats taken"
    assert first.moment("DTSTART") == lesson.starts_at.astimezone(UTC)


def test_an_instructor_s_feed_tells_their_lessons_and_duties_alone(school: School) -> None:
    user = school.teacher()
    school.assign(school.lesson(), user)
    school.lesson(name="Somebody else's")
    school.shift(user, school.cast.at(9), school.cast.at(13))

    events = shown(school, made(school, user).token)

    assert [event.one("SUMMARY") for event in events] == ["On duty: teaching", "First steps"]


def test_no_rider_stands_on_any_feed(school: School) -> None:
    lesson, user = school.lesson(), school.teacher()
    school.assign(lesson, user)
    school.enrol(
        lesson, facts("Tansy Rowan"), facts("Child Rowan", born_on=date(2015, 1, 1)), note="Shy child"
    )
    school.move(lesson)

    for token in (made(school).token, made(school, user).token):
        told = queries.told(token, now=school.cast.now)
        assert told is not None
        text = calendar(told.happenings, name=told.name).decode()
        names = (
            "Tansy",
            "Rowan",
            "Child",
            "Shy",
            "sedge",
            "0700",
            "20150101",
            "2015-01-01",
            "minor",
            "child",
        )
        assert not {word for word in names if word in text}


def test_a_lesson_called_off_is_shown_as_cancelled_with_a_higher_number(school: School) -> None:
    lesson = school.lesson()
    token = made(school).token
    (before,) = shown(school, token)

    school.move(lesson, by=None, why="No wind.")

    (after,) = shown(school, token)
    assert (before.one("STATUS"), before.one("SEQUENCE")) == ("CONFIRMED", "0")
    assert (after.one("STATUS"), after.one("SEQUENCE")) == ("CANCELLED", "1")
    assert after.one("UID") == before.one("UID")
    assert after.one("DESCRIPTION") == "Called off: No wind."


def test_lessons_over_the_change_of_clocks_keep_their_hour_on_the_wall(school: School) -> None:
    """Four Saturdays and Sundays about 31 October 2027, at ten by the clock of Tarrow Lagoon."""
    days = [date(2027, 10, 30) + timedelta(days=number) for number in range(4)]
    spans = [(moment(day, "10:00", ZONE), moment(day, "12:00", ZONE)) for day in days]
    services.plan_course(
        actor=school.cast.ida,
        station_id=school.cast.tarrow.pk,
        facts=CourseFacts(**{name: getattr(FACTS, name) for name in FACTS.__dataclass_fields__}),
        spans=spans,
        now=school.cast.now,
    )

    events = shown(school, made(school).token)

    wall = [event.moment("DTSTART").astimezone(tz.gettz("Europe/Lisbon")) for event in events]
    assert [f"{each:%m-%d %H:%M}" for each in wall] == [
        "10-30 10:00",
        "10-31 10:00",
        "11-01 10:00",
        "11-02 10:00",
    ]
    assert [event.one("DTSTART")[9:] for event in events] == ["090000Z", "100000Z", "100000Z", "100000Z"]


def test_only_the_digest_of_its_address_is_kept(school: School) -> None:
    token = made(school).token

    row = Feed.objects.get()

    assert token not in {str(value) for value in vars(row).values()}
    assert len(row.digest) == 64


def test_a_new_address_ends_the_old_one(school: School) -> None:
    old, new = made(school).token, made(school).token

    assert queries.told(old, now=school.cast.now) is None
    assert queries.told(new, now=school.cast.now) is not None


def test_one_click_revokes_it(school: School) -> None:
    found = made(school)

    services.revoke_feed(actor=school.cast.ida, feed_id=found.feed.pk, now=school.cast.now)

    assert queries.told(found.token, now=school.cast.now) is None


def test_nobody_of_another_station_gets_one(school: School) -> None:
    with pytest.raises(UnableToRoster, match="who works here"):
        made(school, school.cast.neighbour)


class TestAtItsAddress:
    def test_a_program_reads_it_without_signing_in(self, school: School) -> None:
        school.lesson()

        answer = Client().get(f"/calendar/{made(school).token}.ics")

        assert answer.status_code == 200
        assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
        assert answer.headers["Cache-Control"] == "private, max-age=300"
        assert answer.headers["X-Robots-Tag"] == "noindex"
        assert read(answer.content).one("NAME") == "Tarrow Lagoon: lessons"

    @pytest.mark.parametrize("token", ["", "x", "x" * 43, "x" * 500])
    def test_any_other_address_is_not_found(self, school: School, token: str) -> None:
        made(school)

        assert Client().get(f"/calendar/{token}.ics").status_code == 404

    def test_it_asks_the_rows_no_more_with_more_lessons(
        self, school: School, django_assert_num_queries: object
    ) -> None:
        school.lesson(days=5)
        token = made(school).token

        # the feed; its lessons with the seats taken
        with django_assert_num_queries(2):  # type: ignore[operator]
            Client().get(f"/calendar/{token}.ics")

    def test_it_shows_what_stood_an_hour_ago_at_most(self, school: School) -> None:
        """The clock of the request decides how far back and ahead it looks: a month and some."""
        school.lesson()
        token = made(school).token

        assert queries.told(token, now=datetime(2029, 1, 1, tzinfo=UTC)) == queries.Told(
            "Tarrow Lagoon: lessons", ()
        )
