"""Students' seats: taking them, and putting students into groups."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime
from uuid import UUID

from django.db import IntegrityError
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from rentals.audit import services as journal
from rentals.bookings import services as bookings
from rentals.bookings.models import Booking
from rentals.lessons.models import MOST_SEATS, Course, Lesson, Seat
from rentals.lessons.services.courses import UnableToPlanLesson, locked_course
from rentals.lessons.states import LessonState
from rentals.lib.access import Act, Actor, System
from rentals.lib.problems import Conflict, NotVisible
from rentals.lib.writes import inside_write, savepoint, write
from rentals.people import services as people
from rentals.people.models import Rider
from rigging.levels import Level


class LessonFull(Conflict):
    """Somebody else took the last seat."""

    slug = "lesson-full"
    title = "No seat is left"


class UnableToEnrol(Conflict):
    """The lesson cannot take that student, or no student any more."""

    slug = "enrolment-refused"
    title = "Not in this lesson"


@write
def enrol(
    *,
    actor: Actor,
    lesson_id: int,
    contact: bookings.Contact,
    riders: Sequence[people.RiderFacts | int],
    language: str = "",
    note: str = "",
    once: UUID | None = None,
    now: datetime,
) -> Booking:
    """Give riders of a party seats in a lesson, or in the whole course where it is taken as one.

    Args:
        actor: who enrols.
        lesson_id: the lesson, or the first to come of the course.
        contact: who speaks for the party.
        riders: facts of new riders, or ids of riders known here.
        language: in which they are taught, where it matters.
        note: for the desk.
        once: the form's or request's own key; the same key again returns the same booking.
        now: the moment.

    Raises:
        NotVisible: no such lesson at the actor's stations.
        LessonFull: fewer seats are left than riders.
        UnableToEnrol: called off, begun, or not a lesson for that rider.
        UnableToBook, RiderAlreadyOut: as `bookings.book_party`.
    """
    station_id = _station_of(lesson_id)
    actor.require(Act.ENROL, station_id=station_id)
    asked = [lesson_id, asdict(contact), language, note]
    asked += [each if isinstance(each, int) else asdict(each) for each in riders]
    claim = journal.claim(actor=actor, act=Act.ENROL, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Booking.objects.get(pk=claim.result_id)
    booking, _seats = take_seats(
        actor=actor,
        act=Act.ENROL,
        lesson_id=lesson_id,
        contact=contact,
        riders=riders,
        language=language,
        note=note,
        now=now,
    )
    journal.settle(claim, booking.pk)
    return booking


@inside_write
def take_seats(
    *,
    actor: Actor,
    act: Act | System,
    lesson_id: int,
    contact: bookings.Contact,
    riders: Sequence[people.RiderFacts | int],
    language: str = "",
    note: str = "",
    now: datetime,
) -> tuple[Booking, list[Seat]]:
    """Take seats as part of a write that has asked who may: at the desk, or from home.

    Returns:
        The booking, and its seats: all riders' of the first lesson, then of the next.

    Raises:
        As `enrol`.
    """
    course_id = Lesson.objects.filter(pk=lesson_id).values_list("course_id", flat=True).first()
    course = locked_course(None, course_id or 0)
    lessons = _lessons_of(course, lesson_id, now)
    numbers = {lesson.pk: _free_numbers(course, lesson, len(riders)) for lesson in lessons}
    booking, outings = bookings.promise(
        actor=actor,
        act=act,
        station=course.station,
        contact=contact,
        kind=Booking.Kind.LESSON,
        spans=[(lesson.starts_at, lesson.ends_at) for lesson in lessons],
        riders=riders,
        note=note,
        now=now,
    )
    day = course.station.local(lessons[0].starts_at).date()
    for place, outing in enumerate(outings[: len(riders)]):
        _check_student(course, outing.rider, place, day)
    asked_for = [(lesson, number) for lesson in lessons for number in numbers[lesson.pk]]
    seats = [
        Seat(lesson=lesson, number=number, outing=outing, language=language.strip(), taken_at=now)
        for (lesson, number), outing in zip(asked_for, outings, strict=True)
    ]
    try:
        with savepoint():
            Seat.objects.bulk_create(seats)
    except IntegrityError as error:
        raise _last_seat_gone(course) from error
    lines = [
        journal.Line("lesson", seat.lesson_id, f"{seat.outing.rider} has seat {seat.number}")
        for seat in seats
    ]
    journal.record(actor=actor, act=act, station_id=course.station_id, lines=lines, now=now)
    return booking, seats


@inside_write
def change_seats(
    *, actor: Actor, act: Act | System, booking: Booking, lesson_id: int, now: datetime
) -> list[Seat]:
    """Give a booking's students seats in another single lesson, as part of a write that has asked who may.

    Raises:
        NotVisible, LessonFull, UnableToEnrol: as `enrol`; a course taken as a whole is not changed so.
        UnableToMoveOuting: a student has the kit or is afloat.
        RiderAlreadyOut: a student has something else then.
    """
    held = Seat.objects.taken().filter(outing__booking=booking)
    rows = Lesson.objects.filter(pk__in=[lesson_id, *held.values_list("lesson_id", flat=True)])
    # One after another by number, so that two who change places do not wait for each other.
    courses = {pk: locked_course(None, pk) for pk in sorted({row.course_id for row in rows})}
    seats = list(held.select_related("lesson", "outing__rider", "outing__station").order_by("number"))
    to = next((courses[row.course_id] for row in rows if row.pk == lesson_id), None)
    if to is None or to.station_id != booking.party.station_id:
        raise NotVisible(_("There is no such lesson here."))
    if not seats or to.sold_whole or any(courses[seat.lesson.course_id].sold_whole for seat in seats):
        raise UnableToEnrol(_("A whole course is not changed here. Call us, or cancel it and book anew."))
    (lesson,) = _lessons_of(to, lesson_id, now)
    numbers = _free_numbers(to, lesson, len(seats))
    day = to.station.local(lesson.starts_at).date()
    for place, seat in enumerate(seats):
        _check_student(to, seat.outing.rider, place, day)
    bookings.retime(
        actor=actor,
        act=act,
        outings=[seat.outing for seat in seats],
        starts_at=lesson.starts_at,
        ends_at=lesson.ends_at,
        why=f"changed to {to.name}",
        now=now,
    )
    try:
        with savepoint():
            for seat, number in zip(seats, numbers, strict=True):
                seat.lesson, seat.number, seat.group_no, seat.taken_at = lesson, number, None, now
                seat.save()
    except IntegrityError as error:
        raise _last_seat_gone(to) from error
    lines = [
        journal.Line("lesson", lesson.pk, f"{seat.outing.rider} has seat {seat.number}") for seat in seats
    ]
    journal.record(actor=actor, act=act, station_id=to.station_id, lines=lines, now=now)
    return seats


@write
def set_groups(*, actor: Actor, lesson_id: int, groups: Mapping[int, int | None], now: datetime) -> Lesson:
    """Put the students of a lesson into groups by number; None takes a student out of every group.

    Args:
        actor: who decides.
        lesson_id: the lesson.
        groups: seat to group number, 1 and up.
        now: the moment.

    Raises:
        NotVisible: no such lesson at the actor's stations.
        UnableToPlanLesson: a seat of another lesson, or a number out of range.
    """
    station_id = _station_of(lesson_id)
    actor.require(Act.PLAN_LESSON, station_id=station_id)
    lesson = Lesson.objects.get(pk=lesson_id)
    seats = {seat.pk: seat for seat in Seat.objects.filter(lesson=lesson, live=True)}
    if not groups.keys() <= seats.keys():
        raise UnableToPlanLesson("A student has left this lesson meanwhile. Reload the page.")
    for seat_id, number in groups.items():
        if number is not None and not 1 <= number <= MOST_SEATS:
            raise UnableToPlanLesson.at(f"group.{seat_id}", f"Enter a group from 1 to {MOST_SEATS}.")
        Seat.objects.filter(pk=seat_id).update(group_no=number)
    said = len({number for number in groups.values() if number is not None})
    line = journal.Line("lesson", lesson.pk, f"Put {len(groups)} students into {said} groups")
    journal.record(actor=actor, act=Act.PLAN_LESSON, station_id=station_id, lines=[line], now=now)
    return lesson


def _station_of(lesson_id: int) -> int:
    """The station of a lesson, 0 when there is none: nobody has a role there."""
    found = Lesson.objects.filter(pk=lesson_id).values_list("course__station_id", flat=True).first()
    return found or 0


def _lessons_of(course: Course, lesson_id: int, now: datetime) -> list[Lesson]:
    """The lessons that come with a seat: this one, or all of the course that have not begun."""
    lesson = Lesson.objects.filter(pk=lesson_id, course=course).first()
    if lesson is None:
        raise NotVisible("There is no such lesson here.")
    if lesson.state != LessonState.PLANNED:
        said = _("%(course)s is called off: %(why)s Choose another lesson.")
        raise UnableToEnrol(said % {"course": course.name, "why": lesson.why})
    if lesson.ends_at <= now:
        raise UnableToEnrol(_("%(course)s is over. Choose another lesson.") % {"course": course.name})
    if not course.sold_whole:
        return [lesson]
    to_come = Lesson.objects.planned().filter(course=course, starts_at__gte=lesson.starts_at)
    return list(to_come.order_by("starts_at", "id"))


def _free_numbers(course: Course, lesson: Lesson, wanted: int) -> list[int]:
    """The lowest free seats of a lesson, after those of outings called off were let go.

    Raises:
        LessonFull: fewer are free than wanted.
    """
    seats = Seat.objects.filter(lesson=lesson, live=True)
    seats.filter(outing__state__in=("cancelled", "no_show")).update(live=False)
    taken = set(seats.values_list("number", flat=True))
    free = [number for number in range(1, course.seats + 1) if number not in taken]
    if len(free) < wanted:
        when = date_format(course.station.local(lesson.starts_at), "D j M, H:i")
        one = _("%(left)s of %(seats)s seats is left in %(course)s, %(when)s.")
        many = _("%(left)s of %(seats)s seats are left in %(course)s, %(when)s.")
        said = f"{one if len(free) == 1 else many} {_('Choose another lesson, or enter fewer riders.')}"
        told = {"left": len(free), "seats": course.seats, "course": course.name, "when": when}
        raise LessonFull(said % told)
    return free[:wanted]


def _last_seat_gone(course: Course) -> LessonFull:
    return LessonFull(_("Somebody took the last seat in %(course)s just now.") % {"course": course.name})


def _check_student(course: Course, rider: Rider, place: int, day: date) -> None:
    """Refuse a student too young for the course, or more than one level below it."""
    told = {"course": course.name, "rider": rider, "years": course.youngest_years}
    if rider.age_on(day) < course.youngest_years:
        said = _("%(course)s is for riders from %(years)s years on.") % told
        raise UnableToEnrol(said, fields={f"riders.{place}.born_on": said})
    if Level(rider.level).rank < Level(course.level).rank - 1:
        said = _("%(course)s is for %(wanted)s riders; %(rider)s is %(level)s.")
        told |= {"wanted": _(course.level), "level": _(rider.level)}
        raise UnableToEnrol(said % told, fields={f"riders.{place}.level": said % told})
