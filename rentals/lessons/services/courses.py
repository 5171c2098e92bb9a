"""Courses and their lessons: planning, changing, adding another day."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from uuid import UUID

from rentals.audit import services as journal
from rentals.lessons.models import (
    AGE_YEARS,
    LEVEL_NAMES,
    LONGEST_LESSON,
    MOST_SEATS,
    RATIO,
    WIND_MS,
    Course,
    Lesson,
    Seat,
)
from rentals.lib.access import Act, Actor
from rentals.lib.problems import NotVisible, Refused
from rentals.lib.when import is_aware
from rentals.lib.writes import inside_write, write
from rentals.stations.models import Station

MOST_LESSONS = 14


class UnableToPlanLesson(Refused):
    """A course or its times do not hold together; fields say where."""

    slug = "lesson-refused"
    title = "Check the lesson"


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseFacts:
    """What is entered about a course. Winds in m/s on the beach."""

    name: str
    level: str
    seats: int
    riders_to_one: float
    children_to_one: float
    youngest_years: int
    low_ms: float
    high_ms: float
    language: str
    about: str = ""
    sold_whole: bool = False


@write
def plan_course(
    *,
    actor: Actor,
    station_id: int,
    facts: CourseFacts,
    spans: Sequence[tuple[datetime, datetime]],
    once: UUID | None = None,
    now: datetime,
) -> Course:
    """Plan a course with its lessons; a single lesson is a course of one.

    Args:
        actor: who plans.
        station_id: where.
        facts: level, seats, ratio, wind and language.
        spans: from when until when each lesson is, aware, within the opening hours.
        once: the form's or request's own key.
        now: the moment.

    Raises:
        UnableToPlanLesson: facts out of range, or times that cannot be.
    """
    actor.require(Act.PLAN_LESSON, station_id=station_id)
    asked = [station_id, asdict(facts), list(spans)]
    claim = journal.claim(actor=actor, act=Act.PLAN_LESSON, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Course.objects.get(pk=claim.result_id)
    _check(facts)
    station = Station.objects.get(pk=station_id)
    course = Course(station=station)
    _apply(course, facts)
    course.save()
    lessons = _keep_lessons(course, spans, now)
    lines = [journal.Line("course", course.pk, f"Planned {course.name} with {len(lessons)} lessons")]
    lines += [_planned(lesson, station) for lesson in lessons]
    journal.record(actor=actor, act=Act.PLAN_LESSON, station_id=station_id, lines=lines, now=now)
    journal.settle(claim, course.pk)
    return course


@write
def change_course(*, actor: Actor, course_id: int, facts: CourseFacts, now: datetime) -> Course:
    """Change what a course is; its lessons and students stay.

    Raises:
        NotVisible: no such course at the actor's stations.
        UnableToPlanLesson: facts out of range, or fewer seats than are taken.
    """
    course = locked_course(actor, course_id)
    actor.require(Act.PLAN_LESSON, station_id=course.station_id)
    _check(facts)
    beyond = Seat.objects.filter(lesson__course=course, live=True, number__gt=facts.seats)
    beyond.filter(outing__state__in=("cancelled", "no_show")).update(live=False)
    if beyond.filter(live=True).exists():
        raise UnableToPlanLesson.at(
            "seats", "A student has a higher seat number. Enter more seats, or cancel a student first."
        )
    before = {name: getattr(course, name) for name in asdict(facts)}
    _apply(course, facts)
    course.save()
    changed = {
        name: [str(before[name]), str(getattr(course, name))]
        for name in before
        if before[name] != getattr(course, name)
    }
    line = journal.Line("course", course.pk, f"Changed {', '.join(changed) or 'nothing'}", changed)
    journal.record(actor=actor, act=Act.PLAN_LESSON, station_id=course.station_id, lines=[line], now=now)
    return course


@write
def add_lesson(
    *,
    actor: Actor,
    course_id: int,
    starts_at: datetime,
    ends_at: datetime,
    once: UUID | None = None,
    now: datetime,
) -> Lesson:
    """Plan another lesson of a course; who is in the course already has no seat in it yet.

    Raises:
        NotVisible: no such course at the actor's stations.
        UnableToPlanLesson: times that cannot be, or students who took the course as it was.
    """
    course = locked_course(actor, course_id)
    actor.require(Act.PLAN_LESSON, station_id=course.station_id)
    claim = journal.claim(
        actor=actor, act=Act.PLAN_LESSON, key=once, asked=[course_id, starts_at, ends_at], now=now
    )
    if claim.result_id is not None:
        return Lesson.objects.get(pk=claim.result_id)
    if course.sold_whole and Seat.objects.taken().filter(lesson__course=course).exists():
        raise UnableToPlanLesson.at(
            "starts_at", "Students took this course as a whole. Plan another course, or a single lesson."
        )
    if course.lessons.count() >= MOST_LESSONS:
        raise UnableToPlanLesson.at("starts_at", f"A course has at most {MOST_LESSONS} lessons.")
    (lesson,) = _keep_lessons(course, [(starts_at, ends_at)], now)
    line = _planned(lesson, course.station)
    journal.record(actor=actor, act=Act.PLAN_LESSON, station_id=course.station_id, lines=[line], now=now)
    journal.settle(claim, lesson.pk)
    return lesson


@inside_write
def locked_course(actor: Actor | None, course_id: int) -> Course:
    """Return a course, locked for a write where the database can: whoever takes or moves its seats waits.

    Args:
        actor: who must see it; None for a caller that has looked already.
        course_id: which.

    Raises:
        NotVisible: there is none for this actor.
    """
    courses = Course.objects.select_related("station").select_for_update(of=("self",)).filter(pk=course_id)
    if actor is not None:
        courses = courses.filter(station_id__in=actor.station_ids)
    course = courses.first()
    if course is None:
        raise NotVisible("There is no such course here.")
    return course


def check_span(station: Station, start: datetime, end: datetime, *, now: datetime) -> None:
    """Refuse a time that no lesson can have.

    Raises:
        UnableToPlanLesson: without its zone, upside down, too long, past, or outside the opening hours.
    """
    if not (is_aware(start) and is_aware(end)):
        raise UnableToPlanLesson.at("starts_at", "Enter times with their zone, as 2027-03-09T14:00+01:00.")
    start, end = start.astimezone(UTC), end.astimezone(UTC)
    if end <= start:
        raise UnableToPlanLesson.at("ends_at", "Enter an end after the start.")
    if end - start > LONGEST_LESSON:
        raise UnableToPlanLesson.at("ends_at", "Enter at most eight hours.")
    if end <= now:
        raise UnableToPlanLesson.at("starts_at", "That is over already. Enter a time to come.")
    first, last = station.local(start), station.local(end)
    if first.time() < station.opens or last.time() > station.closes or first.date() != last.date():
        hours = f"{station.opens:%H:%M} to {station.closes:%H:%M}"
        raise UnableToPlanLesson.at("starts_at", f"{station.name} is open {hours}. Enter times within.")


def _keep_lessons(course: Course, spans: Sequence[tuple[datetime, datetime]], now: datetime) -> list[Lesson]:
    if not 1 <= len(spans) <= MOST_LESSONS:
        raise UnableToPlanLesson.at("days", f"Enter 1 to {MOST_LESSONS} lessons.")
    for start, end in spans:
        check_span(course.station, start, end, now=now)
    return [
        Lesson.objects.create(course=course, starts_at=start, ends_at=end, changed_at=now)
        for start, end in spans
    ]


def _planned(lesson: Lesson, station: Station) -> journal.Line:
    start, end = station.local(lesson.starts_at), station.local(lesson.ends_at)
    return journal.Line("lesson", lesson.pk, f"Planned for {start:%a %-d %b, %H:%M}–{end:%H:%M}")


def _apply(course: Course, facts: CourseFacts) -> None:
    for name, value in asdict(facts).items():
        setattr(course, name, value.strip() if isinstance(value, str) else value)


def _check(facts: CourseFacts) -> None:
    wrong: dict[str, str] = {}
    if not facts.name.strip():
        wrong["name"] = "Enter what it is called."
    if facts.level not in LEVEL_NAMES:
        wrong["level"] = f"Choose one of {', '.join(LEVEL_NAMES)}."
    if not facts.language.strip():
        wrong["language"] = "Choose the language it is taught in."
    if not 1 <= facts.seats <= MOST_SEATS:
        wrong["seats"] = f"Enter 1 to {MOST_SEATS} seats."
    for name in ("riders_to_one", "children_to_one"):
        if not RATIO[0] <= getattr(facts, name) <= RATIO[1]:
            wrong[name] = f"Enter {RATIO[0]} to {RATIO[1]} to one instructor."
    if not AGE_YEARS[0] <= facts.youngest_years <= AGE_YEARS[1]:
        wrong["youngest_years"] = f"Enter an age between {AGE_YEARS[0]} and {AGE_YEARS[1]}."
    if not WIND_MS[0] <= facts.low_ms <= WIND_MS[1]:
        wrong["low_ms"] = f"Enter a wind between {WIND_MS[0]} and {WIND_MS[1]} m/s."
    if not facts.low_ms < facts.high_ms <= WIND_MS[1]:
        wrong["high_ms"] = f"Enter a wind above the lowest, at most {WIND_MS[1]} m/s."
    if wrong:
        raise UnableToPlanLesson(next(iter(wrong.values())), fields=wrong)
