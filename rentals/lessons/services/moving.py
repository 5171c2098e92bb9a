"""Moving lessons and calling them off, for the wind or anything else, and telling everyone."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from rentals.audit import services as journal
from rentals.bookings import services as bookings
from rentals.bookings.states import OutingEvent
from rentals.fleet import services as fleet
from rentals.fleet.models import Hold
from rentals.lessons.models import Assignment, Lesson, Notice, Seat
from rentals.lessons.services.courses import UnableToPlanLesson, check_span, locked_course
from rentals.lessons.services.crew import move_crew
from rentals.lessons.states import LessonState
from rentals.lib.access import Act, Actor
from rentals.lib.moves import shift
from rentals.lib.problems import Conflict, NotVisible
from rentals.lib.writes import write
from rentals.stations.models import Station


class LessonMoved(Conflict):
    """Somebody moved the lesson or called it off meanwhile."""

    slug = "lesson-moved"
    title = "The lesson has changed meanwhile"


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What is to happen to a lesson: its new time, or None to call it off; and why, for the students.

    `moves` is how often it had been moved when the decision was taken.
    """

    lesson_id: int
    moves: int
    why: str
    starts_at: datetime | None = None
    ends_at: datetime | None = None


@write
def change_lessons(
    *, actor: Actor, station_id: int, changes: Sequence[Change], now: datetime
) -> list[Lesson]:
    """Move lessons or call them off, all or none, with their students and crew; every party is told.

    Each party has a notice: who left an address is written to in their language, for the others a line waits
    on the lesson's page until somebody has phoned. Crew who are not free at the new time are left out, which
    the lesson's page shows.

    Raises:
        NotVisible: no such lesson here.
        LessonMoved: it was moved or called off meanwhile.
        UnableToPlanLesson: no reason, or a time that cannot be.
        UnableToMoveOuting: a student has the kit or is afloat.
        RiderAlreadyOut: a student has something else at the new time.
    """
    actor.require(Act.MOVE_LESSON, station_id=station_id)
    return [_change(actor, station_id, each, now) for each in changes]


@write
def note_told(*, actor: Actor, notice_id: int, now: datetime) -> Notice:
    """Note that a party without an address was told by phone; doing it twice changes nothing.

    Raises:
        NotVisible: no such notice at the actor's stations.
    """
    notice = (
        Notice.objects.select_related("lesson__course", "party")
        .filter(pk=notice_id, lesson__course__station_id__in=actor.station_ids)
        .first()
    )
    if notice is None:
        raise NotVisible("There is no such line here.")
    station_id = notice.lesson.course.station_id
    actor.require(Act.MOVE_LESSON, station_id=station_id)
    if Notice.objects.filter(pk=notice.pk, told_at=None).update(told_at=now, told_by_id=actor.user_id):
        line = journal.Line("lesson", notice.lesson_id, f"Told {notice.party} by phone")
        journal.record(actor=actor, act=Act.MOVE_LESSON, station_id=station_id, lines=[line], now=now)
    return notice


def _change(actor: Actor, station_id: int, change: Change, now: datetime) -> Lesson:
    lesson = Lesson.objects.filter(pk=change.lesson_id, course__station_id=station_id).first()
    if lesson is None:
        raise NotVisible("There is no such lesson here.")
    course = locked_course(actor, lesson.course_id)
    lesson = Lesson.objects.get(pk=lesson.pk)
    lesson.course = course
    if lesson.state != LessonState.PLANNED or lesson.moves != change.moves:
        raise LessonMoved(f"{course.name} was changed by a colleague. Reload the page.")
    if lesson.ends_at <= now:
        raise LessonMoved(f"{course.name} is over.")
    if not change.why.strip():
        raise UnableToPlanLesson.at("why", "Enter why, for those who are told.")
    seats = list(
        Seat.objects.taken()
        .filter(lesson=lesson)
        .select_related("outing__rider", "outing__station", "outing__booking__party")
        .order_by("number")
    )
    crew = list(Assignment.objects.filter(lesson=lesson, live=True).select_related("user"))
    Assignment.objects.filter(pk__in=[each.pk for each in crew]).update(live=False)
    spares = Hold.objects.filter(purpose=lesson.spares, live=True)
    fleet.end_holds(hold_ids=list(spares.values_list("pk", flat=True)))
    if change.starts_at is None or change.ends_at is None:
        said = _call_off(actor, lesson, seats, change, now)
    else:
        said = _move(actor, lesson, seats, crew, change, now)
    line = journal.Line("lesson", lesson.pk, said)
    journal.record(actor=actor, act=Act.MOVE_LESSON, station_id=station_id, lines=[line], now=now)
    _leave_notices(lesson, seats, said, now)
    return lesson


def _move(
    actor: Actor,
    lesson: Lesson,
    seats: Sequence[Seat],
    crew: Sequence[Assignment],
    change: Change,
    now: datetime,
) -> str:
    assert change.starts_at is not None  # noqa: S101 - the caller asked
    assert change.ends_at is not None  # noqa: S101 - the caller asked
    station = lesson.course.station
    check_span(station, change.starts_at, change.ends_at, now=now)
    was = _span(station, lesson.starts_at, lesson.ends_at)
    lesson.starts_at, lesson.ends_at = change.starts_at, change.ends_at
    lesson.moves, lesson.changed_at, lesson.why = lesson.moves + 1, now, change.why.strip()
    lesson.save()
    bookings.retime(
        actor=actor,
        act=Act.MOVE_LESSON,
        outings=[seat.outing for seat in seats],
        starts_at=change.starts_at,
        ends_at=change.ends_at,
        why=change.why.strip(),
        now=now,
    )
    lost = move_crew(lesson=lesson, crew=crew)
    if lost:
        names = ", ".join(each.user.shown_name for each in lost)
        line = journal.Line("lesson", lesson.pk, f"Not free at the new time: {names}")
        journal.record(actor=actor, act=Act.MOVE_LESSON, station_id=station.pk, lines=[line], now=now)
    to = _span(station, lesson.starts_at, lesson.ends_at)
    return f"{lesson.course.name} moves from {was} to {to}. {lesson.why}"


def _call_off(actor: Actor, lesson: Lesson, seats: Sequence[Seat], change: Change, now: datetime) -> str:
    station, why = lesson.course.station, change.why.strip()
    for seat in seats:
        bookings.call_off(
            actor=actor,
            act=Act.MOVE_LESSON,
            outing=seat.outing,
            event=OutingEvent.CANCEL,
            reason=why,
            now=now,
        )
    Seat.objects.filter(lesson=lesson, live=True).update(live=False)
    values = {"moves": lesson.moves + 1, "changed_at": now, "why": why}
    if not shift(lesson, LessonState.CANCELLED, **values):
        raise LessonMoved(f"{lesson.course.name} was called off by a colleague. Reload the page.")
    return f"{lesson.course.name}, {_span(station, lesson.starts_at, lesson.ends_at)}, is called off. {why}"


def _leave_notices(lesson: Lesson, seats: Sequence[Seat], said: str, now: datetime) -> None:
    """Leave a notice for every party once; who has an address is written to by it."""
    parties = {seat.outing.booking.party_id: seat.outing.booking.party for seat in seats}
    for party in parties.values():
        Notice.objects.create(
            lesson=lesson,
            party=party,
            change_no=lesson.moves,
            text=said[:500],
            by_letter=bool(party.contact_email),
            made_at=now,
        )


def _span(station: Station, start: datetime, end: datetime) -> str:
    first, last = station.local(start), station.local(end)
    return f"{first:%A %-d %B, %H:%M}–{last:%H:%M}"
