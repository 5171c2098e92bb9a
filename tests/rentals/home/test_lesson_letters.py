"""Letters about lessons: in the rider's language, each change once, with the calendar of what now holds."""

import re
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest

from rentals.bookings.services import Contact
from rentals.home import services
from rentals.home.models import Front, Guest
from rentals.home.tasks import tell
from rentals.lessons import services as lessons
from rentals.lessons.mapping import FOR_THE_WIND
from rentals.lessons.models import Lesson
from rentals.mail.models import Letter
from tests.rentals.home.house import HOME, PUPIL, TELL, House
from tests.rentals.lessons.school import FACTS, School
from tests.rentals.lib.rfc5545 import read
from tests.rentals.walk import DAY, HOUR

LANGUAGES = ["en", "de", "es", "fr"]


@pytest.fixture
def school(house: House) -> School:
    """The school of the station with the open page."""
    return School(house.cast)


def look(house: House) -> None:
    """The worker looks twice, as it does for ever."""
    tell()
    tell()


def events_of(letter: Letter) -> list[Any]:
    """The events of its calendar, as an independent parser reads them."""
    return list(icalendar.Calendar.from_ical(letter.calendar).walk("VEVENT"))


def of_lessons() -> list[Letter]:
    return list(Letter.objects.filter(event__startswith="lesson:").order_by("id"))


def test_a_moved_lesson_is_told_once_with_its_new_time(house: House, school: School) -> None:
    lesson = school.lesson()
    guest = house.take(lesson, PUPIL)

    school.move(lesson, by=2 * HOUR, why="The boat comes later.")
    look(house)

    confirmed, moved = house.letters(guest)
    assert moved.subject == "First steps at Tarrow Lagoon has a new time"
    assert "Wed 14 Jul 2027, 16:00–18:00: First steps, Tarrow Lagoon" in moved.body
    assert "Why: The boat comes later." in moved.body
    before, after = (events_of(each)[0] for each in (confirmed, moved))
    assert before["uid"] == after["uid"]
    assert after["sequence"] > before["sequence"]
    assert after.decoded("dtstart") == house.cast.at(16)


def test_a_lesson_called_off_is_told_once_and_leaves_the_calendar(house: House, school: School) -> None:
    lesson = school.lesson()
    guest = house.take(lesson, PUPIL)

    school.move(lesson, by=None, why="Nobody to teach it.")
    look(house)

    _confirmed, off = house.letters(guest)
    assert off.subject == "First steps at Tarrow Lagoon is called off"
    assert "Why: Nobody to teach it." in off.body
    (event,) = events_of(off)
    assert event["status"] == "CANCELLED"
    assert house.again(guest).state == "left"


def test_a_change_by_the_forecast_is_said_in_the_riders_words(house: House, school: School) -> None:
    lesson = school.lesson()
    guest = house.take(lesson, PUPIL, language="de")

    school.move(lesson, by=None, why=f"{FOR_THE_WIND} Too strong: 20 kn in the strongest hour.")
    look(house)

    body = house.letters(guest)[-1].body
    assert "Diese Stunde braucht 6 kn bis 14 kn am Strand." in body
    assert "Too strong" not in body


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("by", [HOUR, None], ids=["moved", "called off"])
def test_it_speaks_the_riders_language(
    house: House, school: School, language: str, by: timedelta | None
) -> None:
    lesson = school.lesson()
    guest = house.take(lesson, PUPIL, language=language)

    school.move(lesson, by=by, why=f"{FOR_THE_WIND} Too light.")
    look(house)

    said = house.letters(guest)[-1]
    hello = {"en": "Hello", "de": "Guten Tag", "es": "Hola", "fr": "Bonjour"}
    assert hello[language] in said.body
    english = [
        "has a new time",
        "is called off",
        "The wind that is forecast",
        "Questions?",
        "Keep this address",
    ]
    found = [words for words in english if words in said.subject + said.body]
    assert bool(found) == (language == "en")
    assert not re.search(r"\n{3}|%\(|\{\{|&#", said.body)


def test_of_a_course_the_other_lessons_stand(house: House, school: School) -> None:
    first = school.lesson(days=3, sold_whole=True)
    guest = house.take(first, PUPIL)

    school.move(first, by=None)
    look(house)

    off = house.letters(guest)[-1]
    assert "Your other times stand:\nThu 15 Jul 2027, 14:00–16:00: First steps" in off.body
    events = events_of(off)
    assert [event["status"] for event in events] == ["CANCELLED", "CONFIRMED", "CONFIRMED"]
    assert house.again(guest).state == "booked"


def test_two_changes_at_once_are_told_in_one_letter(house: House, school: School) -> None:
    lesson = school.lesson()
    guest = house.take(lesson, PUPIL)

    school.move(school.move(lesson, by=HOUR), by=HOUR)
    look(house)

    assert len(house.letters(guest)) == 2
    assert "16:00–18:00" in house.letters(guest)[-1].body


def test_each_later_change_is_told(house: House, school: School) -> None:
    lesson = school.lesson()
    guest = house.take(lesson, PUPIL)

    moved = school.move(lesson)
    look(house)
    school.move(moved, by=None)
    look(house)

    assert [letter.subject for letter in house.letters(guest)][1:] == [
        "First steps at Tarrow Lagoon has a new time",
        "First steps at Tarrow Lagoon is called off",
    ]


def test_a_party_of_the_desk_is_told_by_its_stations_language(house: House, school: School) -> None:
    Front.objects.update(language="fr")
    lesson = school.lesson()
    school.enrol(lesson)

    school.move(lesson)
    services.tell_lessons(actor=TELL, now=house.cast.now)

    (letter,) = of_lessons()
    assert letter.to == "sedge@rowan.invalid"
    assert "a un nouvel horaire" in letter.subject
    assert "/visit/" in letter.body


def test_a_station_without_a_page_writes_all_the_same(house: House, school: School) -> None:
    Front.objects.all().delete()
    lesson = school.lesson()
    school.enrol(lesson)

    school.move(lesson, by=None)
    look(house)

    (letter,) = of_lessons()
    assert "is called off" in letter.subject
    assert "/visit/" not in letter.body
    assert not Guest.objects.exists()


def test_a_party_without_an_address_is_phoned(house: House, school: School) -> None:
    lesson = school.lesson()
    school.enrol(lesson, contact=Contact(name="Sedge", phone="0700 300 400"))

    school.move(lesson)
    look(house)

    assert not of_lessons()


def test_a_day_before_a_lesson_its_students_are_reminded_once(house: House, school: School) -> None:
    (lesson,) = Lesson.objects.filter(course=school.course(days=3)).order_by("starts_at")[2:]
    guest = house.take(lesson, PUPIL)

    for _look in range(2):
        services.remind(actor=TELL, now=house.cast.now + DAY + 5 * HOUR)

    _confirmed, reminder = house.letters(guest)
    assert "Fri 16 Jul 2027, 14:00–16:00: First steps, Tarrow Lagoon" in reminder.body
    assert events_of(reminder)[0]["status"] == "CONFIRMED"


def test_a_course_over_the_night_when_the_clocks_go_back_keeps_its_wall_clock(
    house: House, school: School
) -> None:
    """On 31 October 2027 at 02:00 summer time ends (Directive 2000/84/EC, article 3): ten o'clock is an hour
    later in UTC. Read by `icalendar` and by a strict RFC 5545 reader of ours."""
    zone, now = ZoneInfo("Europe/Lisbon"), datetime(2027, 10, 28, 9, tzinfo=UTC)
    starts = [datetime(2027, 10, day, 10, tzinfo=zone).astimezone(UTC) for day in (30, 31)]
    course = lessons.plan_course(
        actor=house.cast.ida,
        station_id=house.cast.tarrow.pk,
        facts=lessons.CourseFacts(**{**{n: getattr(FACTS, n) for n in FACTS.__slots__}, "sold_whole": True}),
        spans=[(start, start + 2 * HOUR) for start in starts],
        now=now,
    )
    first = Lesson.objects.filter(course=course).earliest("starts_at")
    guest = house.take(first, PUPIL, now=now)

    (letter,) = house.letters(guest)
    events = events_of(letter)

    assert [event["dtstart"].to_ical() for event in events] == [b"20271030T090000Z", b"20271031T100000Z"]
    assert letter.body.count(", 10:00–12:00: First steps") == 2
    assert [each.name for each in read(letter.calendar.encode()).inside] == ["VEVENT", "VEVENT"]


def test_who_took_another_lesson_meanwhile_is_told_of_that_alone(house: House, school: School) -> None:
    lesson, other = school.lesson(), school.lesson(hours=(16,), name="Harness")
    guest = house.take(lesson, PUPIL)
    school.move(lesson)
    services.change_lesson(actor=HOME, guest_id=guest.pk, lesson_id=other.pk, now=house.cast.now)
    look(house)

    house.cancel(house.outings(guest)[0])
    look(house)

    assert house.kinds(guest) == ["confirmed", "changed", "cancelled"]
