"""A school for the demo: instructors with papers and a roster, lessons to come, and their students."""

from collections.abc import Sequence
from contextlib import suppress
from datetime import date, datetime, timedelta

from rentals.bookings.services import Contact
from rentals.lessons import services
from rentals.lessons.models import Course, Duty, Lesson, Seat
from rentals.lib.access import Actor
from rentals.lib.problems import Refused
from rentals.lib.when import NotATime, moment
from rentals.people.models import Posting, Rider, User
from rentals.stations.models import Station
from rigging import units
from rigging.checks import skills
from rigging.levels import Level

SCHOOL = "tarrow-lagoon"
"""Two instructors are enough for one beach."""

ROSTER_DAYS = 7
LESSON = timedelta(hours=2)
_COURSES = (
    # name, level, seats, wind in kn, days from today, first hour, lessons, taken as a whole, students
    ("First steps", Level.BEGINNER, 6, (5, 14), 0, 14, 1, False, 4),
    ("Harness and foot straps", Level.IMPROVER, 5, (10, 18), 1, 13, 1, False, 3),
    ("Beginners' course, three mornings", Level.BEGINNER, 8, (5, 14), 1, 10, 3, True, 5),
    ("Gentle start for children", Level.TASTER, 4, (3, 9), 2, 10, 1, False, 2),
)


def school(station: Station, manager: Actor, riders: Sequence[Rider], now: datetime) -> None:
    """Give a station a week of lessons, through the same services that staff use."""
    if station.slug != SCHOOL:
        return
    today = station.local(now).date()
    staff = _staff(station, today)
    _papers(station, manager, staff, today, now)
    _roster(station, manager, staff, today, now)
    students = list(riders)
    for name, level, seats, wind, ahead, hour, days, whole, count in _COURSES:
        course = _plan(
            station, manager, now,
            name=name, level=level.value, seats=seats, wind=wind, day=today + timedelta(days=ahead),
            hour=hour, days=days, whole=whole,
        )  # fmt: skip
        if course is None:
            continue
        fit = [each for each in students if abs(Level(each.level).rank - level.rank) <= 1][:count]
        students = [each for each in students if each not in fit]
        _fill(course, manager, fit, now)
    _seen(station, manager, now)


def _staff(station: Station, today: date) -> list[User]:
    """Who may teach here: instructors first, then the manager."""
    postings = Posting.objects.on(today).filter(station=station, role__in=("instructor", "manager"))
    return list(User.objects.filter(pk__in=postings.values("user")).order_by("username"))


def _papers(station: Station, manager: Actor, staff: Sequence[User], today: date, now: datetime) -> None:
    since = today.replace(month=1, day=1)
    for number, user in enumerate(staff):
        papers = [
            services.PaperFacts(
                kind="teach",
                level=(Level.EXPERT if number == 0 else Level.IMPROVER).value,
                paper="Instructor licence",
                since=since,
                until=since.replace(year=since.year + 2),
            ),
            services.PaperFacts(kind="boat", paper="Safety boat licence", since=since),
            services.PaperFacts(
                kind="first_aid", paper="First aid at sea", since=since, until=today + timedelta(days=30)
            ),
        ]
        for facts in papers:
            services.keep_paper(actor=manager, station_id=station.pk, user_id=user.pk, facts=facts, now=now)


def _roster(station: Station, manager: Actor, staff: Sequence[User], today: date, now: datetime) -> None:
    for user, duty in zip(staff, (Duty.TEACH, Duty.BOAT), strict=False):
        with suppress(NotATime, Refused):
            spans = [
                (
                    moment(today + timedelta(days=day), station.opens, station.zone),
                    moment(today + timedelta(days=day), station.closes, station.zone),
                )
                for day in range(ROSTER_DAYS)
            ]
            services.roster_shifts(
                actor=manager, station_id=station.pk, user_id=user.pk, duty=duty, spans=spans, now=now
            )


def _plan(
    station: Station,
    manager: Actor,
    now: datetime,
    *,
    name: str,
    level: str,
    seats: int,
    wind: tuple[float, float],
    day: date,
    hour: int,
    days: int,
    whole: bool,
) -> Course | None:
    """Plan a course; None where its day is over, which the demo of a late evening meets."""
    facts = services.CourseFacts(
        name=name,
        level=level,
        seats=seats,
        riders_to_one=6,
        children_to_one=4,
        youngest_years=7,
        low_ms=float(units.from_knots(wind[0])),
        high_ms=float(units.from_knots(wind[1])),
        language="en",
        sold_whole=whole,
    )
    try:
        starts = [moment(day + timedelta(days=each), f"{hour}:00", station.zone) for each in range(days)]
        return services.plan_course(
            actor=manager,
            station_id=station.pk,
            facts=facts,
            spans=[(start, start + LESSON) for start in starts],
            now=now,
        )
    except (NotATime, Refused):
        return None


def _fill(course: Course, manager: Actor, students: Sequence[Rider], now: datetime) -> None:
    """Enrol students one by one, and give the lessons to whoever is free."""
    first = Lesson.objects.filter(course=course).order_by("starts_at")[0]
    for number, rider in enumerate(students):
        email = f"{rider.name.split()[0].lower()}@riders.invalid" if number % 2 else ""
        # Who sails at that time already is left out.
        with suppress(Refused):
            services.enrol(
                actor=manager,
                lesson_id=first.pk,
                contact=Contact(name=rider.guardian_name or rider.name, phone=rider.phone, email=email),
                riders=[rider.pk],
                now=now,
            )
    for lesson in Lesson.objects.filter(course=course):
        for user, duty in zip(_staff(course.station, now.date()), (Duty.TEACH, Duty.BOAT), strict=False):
            with suppress(Refused):
                services.assign(actor=manager, lesson_id=lesson.pk, user_id=user.pk, duty=duty, now=now)


def _seen(station: Station, manager: Actor, now: datetime) -> None:
    """Let an instructor have seen the first lines of each student's level."""
    seats = Seat.objects.filter(lesson__course__station=station).select_related("outing__rider")
    for number, rider in enumerate({seat.outing.rider for seat in seats.order_by("id")}):
        keys = [key for key, _ in skills.SKILLS[Level(rider.level)]]
        services.note_progress(
            actor=manager, rider_id=rider.pk, shown=keys, seen=keys[: 1 + number % len(keys)], now=now
        )
