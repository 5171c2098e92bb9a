"""Who works: papers, shifts, absences, and who has which lesson."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from django.db import IntegrityError
from django.db.models import Q

from rentals.audit import services as journal
from rentals.lessons.models import (
    LEVEL_NAMES,
    LONGEST_ABSENCE,
    LONGEST_SHIFT,
    Absence,
    Assignment,
    Duty,
    Lesson,
    Qualification,
    Shift,
)
from rentals.lessons.queries import staff_of, teaching_levels
from rentals.lessons.services.courses import locked_course
from rentals.lessons.states import LessonState
from rentals.lib.access import Act, Actor
from rentals.lib.problems import Conflict, NotVisible, Refused
from rentals.lib.when import is_aware
from rentals.lib.writes import inside_write, savepoint, write
from rentals.people.models import User
from rentals.stations.models import Station
from rigging.levels import Level

MOST_SHIFTS = 14


class UnableToRoster(Refused):
    """A paper, a shift or an absence does not hold together; fields say where."""

    slug = "roster-refused"
    title = "Check the roster"


class NotFree(Conflict):
    """Somebody has a lesson, a shift or an absence at that time."""

    slug = "not-free"
    title = "Not free then"


class NotQualified(Conflict):
    """Somebody has no paper that counts for this on that day."""

    slug = "not-qualified"
    title = "No paper for it"


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperFacts:
    """A qualification as it is entered; `level` for teaching only, `until` None where it has no end."""

    kind: str
    paper: str
    since: date
    until: date | None = None
    level: str = ""


@write
def keep_paper(
    *, actor: Actor, station_id: int, user_id: int, facts: PaperFacts, now: datetime
) -> Qualification:
    """Keep a qualification that was seen.

    Raises:
        UnableToRoster: nobody of the station, or facts that do not hold together.
    """
    actor.require(Act.SET_ROSTER, station_id=station_id)
    user = _member(station_id, user_id, now)
    wrong: dict[str, str] = {}
    if facts.kind not in Qualification.Kind.values:
        wrong["kind"] = "Choose what it allows."
    if facts.kind == Qualification.Kind.TEACH and facts.level not in LEVEL_NAMES:
        wrong["level"] = "Choose up to which level they may teach."
    if not facts.paper.strip():
        wrong["paper"] = "Enter what the paper is called."
    if facts.until is not None and facts.until < facts.since:
        wrong["until"] = "Enter an end after its beginning."
    if wrong:
        raise UnableToRoster(next(iter(wrong.values())), fields=wrong)
    row = Qualification.objects.create(
        station_id=station_id,
        user=user,
        kind=facts.kind,
        level=facts.level if facts.kind == Qualification.Kind.TEACH else "",
        paper=facts.paper.strip(),
        since=facts.since,
        until=facts.until,
        seen_at=now,
        seen_by_id=actor.user_id,
    )
    text = f"Saw {row.paper} of {user.shown_name}"
    _tell(actor, station_id, text, now)
    return row


@write
def roster_shifts(
    *,
    actor: Actor,
    station_id: int,
    user_id: int,
    duty: str,
    spans: Sequence[tuple[datetime, datetime]],
    now: datetime,
) -> list[Shift]:
    """Put somebody on the roster, all spans or none.

    Raises:
        UnableToRoster: nobody of the station, or times that cannot be.
        NotFree: on the roster or away at one of the times.
    """
    actor.require(Act.SET_ROSTER, station_id=station_id)
    user = _member(station_id, user_id, now)
    if duty not in Duty.values:
        raise UnableToRoster.at("duty", "Choose teaching or safety boat.")
    if not 1 <= len(spans) <= MOST_SHIFTS:
        raise UnableToRoster.at("days", f"Enter 1 to {MOST_SHIFTS} days.")
    for start, end in spans:
        _check_span(start, end, LONGEST_SHIFT, "fourteen hours")
    shifts = [
        Shift(station_id=station_id, user=user, duty=duty, starts_at=start, ends_at=end, made_at=now)
        for start, end in spans
    ]
    sentence = f"{user.shown_name} is on the roster or away at one of these times. Look at the week."
    _or_not_free(lambda: Shift.objects.bulk_create(shifts), sentence)
    _tell(actor, station_id, f"Put {user.shown_name} on the roster {len(shifts)} times", now)
    return shifts


@write
def drop_shift(*, actor: Actor, shift_id: int, now: datetime) -> Shift:
    """Take a shift off the roster; doing it twice changes nothing.

    Raises:
        NotVisible: no such shift at the actor's stations.
    """
    shift: Shift = _seen(Shift, actor, shift_id)
    actor.require(Act.SET_ROSTER, station_id=shift.station_id)
    if Shift.objects.filter(pk=shift.pk, live=True).update(live=False):
        _tell(actor, shift.station_id, f"Took a shift of {shift.user.shown_name} off the roster", now)
    return shift


@write
def note_absence(
    *,
    actor: Actor,
    station_id: int,
    user_id: int,
    why: str,
    starts_at: datetime,
    ends_at: datetime,
    now: datetime,
) -> tuple[Absence, list[Lesson]]:
    """Note that somebody is away: their shifts and lessons then are free for others.

    Returns:
        The absence, and the lessons that have lost them.

    Raises:
        UnableToRoster: nobody of the station, or times that cannot be.
    """
    actor.require(Act.SET_ROSTER, station_id=station_id)
    user = _member(station_id, user_id, now)
    if why not in Absence.Why.values:
        raise UnableToRoster.at("why", "Choose the kind of absence.")
    _check_span(starts_at, ends_at, LONGEST_ABSENCE, "400 days")
    meets = Q(user=user, live=True, starts_at__lt=ends_at, ends_at__gt=starts_at)
    lost = list(Lesson.objects.filter(pk__in=Assignment.objects.filter(meets).values("lesson")))
    Assignment.objects.filter(meets).update(live=False)
    Shift.objects.filter(meets).update(live=False)
    absence = Absence(station_id=station_id, user=user, why=why, starts_at=starts_at, ends_at=ends_at)
    _or_not_free(absence.save, f"{user.shown_name} was given a lesson meanwhile. Reload the page.")
    lines = [journal.Line("lesson", lesson.pk, f"{user.shown_name} is away then") for lesson in lost]
    lines.append(journal.Line("station", station_id, f"{user.shown_name} is away"))
    journal.record(actor=actor, act=Act.SET_ROSTER, station_id=station_id, lines=lines, now=now)
    return absence, lost


@write
def end_absence(*, actor: Actor, absence_id: int, now: datetime) -> Absence:
    """Take an absence back; doing it twice changes nothing.

    Raises:
        NotVisible: no such absence at the actor's stations.
    """
    absence: Absence = _seen(Absence, actor, absence_id)
    actor.require(Act.SET_ROSTER, station_id=absence.station_id)
    if Absence.objects.filter(pk=absence.pk, live=True).update(live=False):
        _tell(actor, absence.station_id, f"{absence.user.shown_name} is not away after all", now)
    return absence


@write
def assign(*, actor: Actor, lesson_id: int, user_id: int, duty: str, now: datetime) -> Assignment:
    """Give somebody a lesson to teach, or its boat to man; doing it twice changes nothing.

    Raises:
        NotVisible: no such lesson at the actor's stations.
        NotQualified: no paper that counts for it on that day.
        NotFree: another lesson or an absence at that time, or the lesson was called off.
    """
    lesson = _lesson(actor, lesson_id)
    station = lesson.course.station
    actor.require(Act.PLAN_LESSON, station_id=station.pk)
    user = _member(station.pk, user_id, lesson.starts_at)
    if duty not in Duty.values:
        raise UnableToRoster.at("duty", "Choose teaching or safety boat.")
    if lesson.state != LessonState.PLANNED:
        raise NotFree("The lesson is called off.")
    known = Assignment.objects.filter(lesson=lesson, user=user, duty=duty, live=True).first()
    if known is not None:
        return known
    _check_paper(lesson, user, Duty(duty), station)
    made = Assignment(lesson=lesson, user=user, duty=duty, starts_at=lesson.starts_at, ends_at=lesson.ends_at)
    _or_not_free(made.save, f"{user.shown_name} has another lesson then, or is away. Choose somebody else.")
    text = f"{user.shown_name} {'teaches' if duty == Duty.TEACH else 'mans the safety boat'}"
    line = journal.Line("lesson", lesson.pk, text)
    journal.record(actor=actor, act=Act.PLAN_LESSON, station_id=station.pk, lines=[line], now=now)
    return made


@write
def release(*, actor: Actor, assignment_id: int, now: datetime) -> Assignment:
    """Take somebody out of a lesson; doing it twice changes nothing.

    Raises:
        NotVisible: no such assignment at the actor's stations.
    """
    found = (
        Assignment.objects.select_related("lesson__course", "user")
        .filter(pk=assignment_id, lesson__course__station_id__in=actor.station_ids)
        .first()
    )
    if found is None:
        raise NotVisible("There is nobody of that kind here.")
    station_id = found.lesson.course.station_id
    actor.require(Act.PLAN_LESSON, station_id=station_id)
    if Assignment.objects.filter(pk=found.pk, live=True).update(live=False):
        line = journal.Line("lesson", found.lesson_id, f"{found.user.shown_name} is out of it")
        journal.record(actor=actor, act=Act.PLAN_LESSON, station_id=station_id, lines=[line], now=now)
    return found


@inside_write
def move_crew(*, lesson: Lesson, crew: Sequence[Assignment]) -> list[Assignment]:
    """Give released people their lesson again at its new time; return those who are not free then."""
    lost = []
    for member in crew:
        again = Assignment(
            lesson=lesson,
            user=member.user,
            duty=member.duty,
            starts_at=lesson.starts_at,
            ends_at=lesson.ends_at,
        )
        try:
            with savepoint():
                again.save()
        except IntegrityError:
            lost.append(member)
    return lost


def _or_not_free(save: Callable[[], object], sentence: str) -> None:
    """Save what the database refuses to somebody who is not free."""
    try:
        with savepoint():
            save()
    except IntegrityError as error:
        raise NotFree(sentence) from error


def _check_paper(lesson: Lesson, user: User, duty: Duty, station: Station) -> None:
    day = station.local(lesson.starts_at).date()
    if duty == Duty.TEACH:
        level = teaching_levels(station, day, [user.pk]).get(user.pk)
        if level is None or level.rank < Level(lesson.course.level).rank:
            raise NotQualified(
                f"{user.shown_name} has no paper to teach {lesson.course.level} riders on {day:%-d %b %Y}."
            )
    elif (
        not Qualification.objects.valid_on(day)
        .filter(station=station, user=user, kind=Qualification.Kind.BOAT)
        .exists()
    ):
        raise NotQualified(f"{user.shown_name} has no safety boat paper on {day:%-d %b %Y}.")


def _check_span(start: datetime, end: datetime, longest: Any, said: str) -> None:
    if not (is_aware(start) and is_aware(end)):
        raise UnableToRoster.at("starts_at", "Enter times with their zone, as 2027-03-09T14:00+01:00.")
    # Within one zone Python compares and subtracts what the clock shows, wrong where it changes.
    start, end = start.astimezone(UTC), end.astimezone(UTC)
    if end <= start:
        raise UnableToRoster.at("ends_at", "Enter an end after the start.")
    if end - start > longest:
        raise UnableToRoster.at("ends_at", f"Enter at most {said}.")


def _member(station_id: int, user_id: int, at: datetime) -> User:
    """Somebody who works at the station that day, locked where the database can."""
    station = Station.objects.get(pk=station_id)
    if user_id not in {user.pk for user in staff_of(station, station.local(at).date())}:
        raise UnableToRoster.at("user", "Choose somebody who works here.")
    # Whoever plans the same person waits here: two inserts that an exclusion constraint sets against each
    # other would otherwise deadlock.
    return User.objects.select_for_update().get(pk=user_id)


def _lesson(actor: Actor, lesson_id: int) -> Lesson:
    lesson = Lesson.objects.visible_to(actor).filter(pk=lesson_id).first()
    if lesson is None:
        raise NotVisible("There is no such lesson here.")
    course = locked_course(actor, lesson.course_id)
    lesson = Lesson.objects.get(pk=lesson_id)
    lesson.course = course
    return lesson


def _seen(model: Any, actor: Actor, pk: int) -> Any:
    row = model.objects.select_related("user").filter(pk=pk, station_id__in=actor.station_ids).first()
    if row is None:
        raise NotVisible("There is no such line of the roster here.")
    return row


def _tell(actor: Actor, station_id: int, text: str, now: datetime) -> None:
    line = journal.Line("station", station_id, text)
    journal.record(actor=actor, act=Act.SET_ROSTER, station_id=station_id, lines=[line], now=now)
