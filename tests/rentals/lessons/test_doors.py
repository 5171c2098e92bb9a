"""Who gets through: every service of lessons, by role, at the own and at another station."""

import ast
from collections.abc import Callable
from pathlib import Path

import pytest

from rentals.audit.models import Entry
from rentals.bookings.services import Contact
from rentals.lessons import services
from rentals.lessons.models import Absence, Duty, Notice, Shift
from rentals.lib.access import NOBODY, Actor, System, service
from rentals.lib.problems import NotAllowed, NotVisible
from tests.rentals.lessons.school import FACTS, School, facts
from tests.rentals.test_doors import ROLES
from tests.rentals.walk import DAY, HOUR

Call = Callable[[Actor], object]


def plan(school: School) -> Call:
    cast = school.cast
    return lambda actor: services.plan_course(
        actor=actor,
        station_id=cast.tarrow.pk,
        facts=FACTS,
        spans=[(cast.at(14), cast.at(16))],
        now=cast.now,
    )


def change(school: School) -> Call:
    course = school.course()
    return lambda actor: services.change_course(
        actor=actor, course_id=course.pk, facts=FACTS, now=school.cast.now
    )


def add(school: School) -> Call:
    lesson = school.lesson()
    return lambda actor: services.add_lesson(
        actor=actor,
        course_id=lesson.course_id,
        starts_at=lesson.starts_at + DAY,
        ends_at=lesson.ends_at + DAY,
        now=school.cast.now,
    )


def enrol(school: School) -> Call:
    lesson = school.lesson()
    return lambda actor: services.enrol(
        actor=actor,
        lesson_id=lesson.pk,
        contact=Contact(name="Tansy", phone="0700 1"),
        riders=[facts()],
        now=school.cast.now,
    )


def group(school: School) -> Call:
    lesson = school.lesson()
    school.enrol(lesson)
    (seat,) = school.seats(lesson)
    return lambda actor: services.set_groups(
        actor=actor, lesson_id=lesson.pk, groups={seat.pk: 1}, now=school.cast.now
    )


def paper(school: School) -> Call:
    user = school.cast.instructor
    return lambda actor: services.keep_paper(
        actor=actor,
        station_id=school.cast.tarrow.pk,
        user_id=user.pk,
        facts=services.PaperFacts(kind="boat", paper="Boat licence", since=school.cast.now.date()),
        now=school.cast.now,
    )


def roster(school: School) -> Call:
    cast, user = school.cast, school.cast.instructor
    return lambda actor: services.roster_shifts(
        actor=actor,
        station_id=cast.tarrow.pk,
        user_id=user.pk,
        duty=Duty.TEACH,
        spans=[(cast.at(9), cast.at(13))],
        now=cast.now,
    )


def drop(school: School) -> Call:
    school.shift(school.cast.instructor, school.cast.at(9), school.cast.at(13))
    pk = Shift.objects.get().pk
    return lambda actor: services.drop_shift(actor=actor, shift_id=pk, now=school.cast.now)


def away(school: School) -> Call:
    cast, user = school.cast, school.cast.instructor
    return lambda actor: services.note_absence(
        actor=actor,
        station_id=cast.tarrow.pk,
        user_id=user.pk,
        why="away",
        starts_at=cast.at(9),
        ends_at=cast.at(13),
        now=cast.now,
    )


def back(school: School) -> Call:
    school.away(school.cast.instructor, school.cast.at(9), school.cast.at(13))
    pk = Absence.objects.get().pk
    return lambda actor: services.end_absence(actor=actor, absence_id=pk, now=school.cast.now)


def assign(school: School) -> Call:
    lesson, user = school.lesson(), school.teacher()
    return lambda actor: services.assign(
        actor=actor, lesson_id=lesson.pk, user_id=user.pk, duty=Duty.TEACH, now=school.cast.now
    )


def release(school: School) -> Call:
    made = school.assign(school.lesson(), school.teacher())
    return lambda actor: services.release(actor=actor, assignment_id=made.pk, now=school.cast.now)


def move(school: School) -> Call:
    lesson = school.lesson()
    change = services.Change(
        lesson_id=lesson.pk,
        moves=0,
        why="Wind",
        starts_at=lesson.starts_at + HOUR,
        ends_at=lesson.ends_at + HOUR,
    )
    return lambda actor: services.change_lessons(
        actor=actor, station_id=school.cast.tarrow.pk, changes=[change], now=school.cast.now
    )


def told(school: School) -> Call:
    lesson = school.lesson()
    school.enrol(lesson)
    school.move(lesson)
    pk = Notice.objects.get().pk
    return lambda actor: services.note_told(actor=actor, notice_id=pk, now=school.cast.now)


def progress(school: School) -> Call:
    rider = school.student()
    return lambda actor: services.note_progress(
        actor=actor,
        rider_id=rider.pk,
        shown=["beginner.tack"],
        seen=["beginner.tack"],
        now=school.cast.now,
    )


def level(school: School) -> Call:
    rider = school.student()
    return lambda actor: services.change_level(
        actor=actor,
        rider_id=rider.pk,
        seen_level="beginner",
        level="improver",
        why="Tacks",
        now=school.cast.now,
    )


def feed(school: School) -> Call:
    return lambda actor: services.make_feed(
        actor=actor, station_id=school.cast.tarrow.pk, user_id=None, now=school.cast.now
    )


def revoke(school: School) -> Call:
    made = services.make_feed(
        actor=school.cast.ida, station_id=school.cast.tarrow.pk, user_id=None, now=school.cast.now
    )
    return lambda actor: services.revoke_feed(actor=actor, feed_id=made.feed.pk, now=school.cast.now)


DOORS: dict[str, tuple[Callable[[School], Call], str]] = {
    "plan_course": (plan, "DIM"),
    "change_course": (change, "DIM"),
    "add_lesson": (add, "DIM"),
    "enrol": (enrol, "DIM"),
    "set_groups": (group, "DIM"),
    "keep_paper": (paper, "M"),
    "roster_shifts": (roster, "M"),
    "drop_shift": (drop, "M"),
    "note_absence": (away, "M"),
    "end_absence": (back, "M"),
    "assign": (assign, "DIM"),
    "release": (release, "DIM"),
    "change_lessons": (move, "DIM"),
    "note_told": (told, "DIM"),
    "note_progress": (progress, "IM"),
    "change_level": (level, "IM"),
    "make_feed": (feed, "DIM"),
    "revoke_feed": (revoke, "DIM"),
}
ALLOWED = [(name, role) for name, (_on, may) in DOORS.items() for role in "DIM" if role in may]
REFUSED = [(name, role) for name, (_on, may) in DOORS.items() for role in "DIM" if role not in may]


def test_every_service_that_writes_has_a_door_here() -> None:
    folder = Path(services.__file__).parent
    writing = {
        node.name
        for path in folder.glob("*.py")
        for node in ast.parse(path.read_text()).body
        if isinstance(node, ast.FunctionDef)
        if "write" in {ast.unparse(each) for each in node.decorator_list}
    }

    assert DOORS.keys() == writing


@pytest.mark.parametrize(("name", "role"), ALLOWED)
def test_a_role_that_may_gets_through(school: School, name: str, role: str) -> None:
    call = DOORS[name][0](school)
    before = Entry.objects.count()

    call(ROLES[role](school.cast))

    assert Entry.objects.count() > before


@pytest.mark.parametrize(("name", "role"), REFUSED)
def test_a_role_that_may_not_is_told_who_may(school: School, name: str, role: str) -> None:
    call = DOORS[name][0](school)
    before = Entry.objects.count()

    with pytest.raises(NotAllowed, match="Ask a colleague who is"):
        call(ROLES[role](school.cast))

    assert Entry.objects.count() == before


@pytest.mark.parametrize("name", DOORS)
def test_from_elsewhere_there_is_nothing_here(school: School, name: str) -> None:
    call = DOORS[name][0](school)
    before = Entry.objects.count()

    for actor in (school.cast.rhys, school.cast.actor(school.cast.stranger), NOBODY, service(*System)):
        with pytest.raises(NotVisible):
            call(actor)

    assert Entry.objects.count() == before
