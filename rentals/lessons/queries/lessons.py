"""Lessons with their students, crew and wind, as lists and the lesson's own page show them."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count, Q
from django.utils.translation import gettext as _

from rentals.bookings.models import Outing
from rentals.fleet.models import Hold, Item
from rentals.lessons.mapping import needed, student_of, teachable
from rentals.lessons.models import Assignment, Course, Duty, Lesson, LevelWord, Notice, Progress, Seat
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.lib.when import day_bounds
from rentals.people.models import Rider
from rentals.stations.models import Station
from rentals.weather import queries as weather
from rigging import groups
from rigging.checks import skills, teaching
from rigging.levels import Level
from rigging.reason import Reason


@dataclass(frozen=True, slots=True, kw_only=True)
class LessonRow:
    """One lesson: its students, who teaches, the wind forecast, and what it lacks."""

    lesson: Lesson
    seats: tuple[Seat, ...]
    crew: tuple[Assignment, ...]
    wind: teaching.Teachable | None
    needed: teaching.Needed

    @property
    def course(self) -> Course:
        """What is taught."""
        return self.lesson.course

    @property
    def left(self) -> int:
        """Seats that are free."""
        return max(self.course.seats - len(self.seats), 0)

    @property
    def teachers(self) -> tuple[Assignment, ...]:
        """Who teaches."""
        return tuple(each for each in self.crew if each.duty == Duty.TEACH)

    @property
    def boat(self) -> tuple[Assignment, ...]:
        """Who mans the safety boat."""
        return tuple(each for each in self.crew if each.duty == Duty.BOAT)

    @property
    def lacks(self) -> tuple[str, ...]:
        """What is still to be seen to, in sentences."""
        if self.lesson.state != "planned":
            return ()
        found = []
        short = self.needed.instructors - len(self.teachers)
        if short > 0:
            found.append(f"{short} more instructor{'s' * (short > 1)} needed. {self.needed.reason.text}")
        if self.seats and not self.boat:
            found.append("Nobody mans the safety boat.")
        if self.wind is not None and not self.wind.ok:
            found.append(self.wind.reason.text)
        return tuple(found)


def rows_of(lessons: Sequence[Lesson], station: Station) -> tuple[LessonRow, ...]:
    """Return lessons of one station with what belongs to them: three queries."""
    seats: defaultdict[int, list[Seat]] = defaultdict(list)
    taken = Seat.objects.taken().filter(lesson__in=lessons).order_by("number")
    for seat in taken.select_related("outing__rider", "outing__booking__party"):
        seats[seat.lesson_id].append(seat)
    crew: defaultdict[int, list[Assignment]] = defaultdict(list)
    assigned = Assignment.objects.filter(lesson__in=lessons, live=True).order_by("id")
    for assignment in assigned.select_related("user"):
        crew[assignment.lesson_id].append(assignment)
    hours = (
        weather.hours_between(
            station, min(each.starts_at for each in lessons), max(each.ends_at for each in lessons)
        )
        if lessons
        else ()
    )
    return tuple(
        LessonRow(
            lesson=lesson,
            seats=tuple(seats[lesson.pk]),
            crew=tuple(crew[lesson.pk]),
            wind=teachable(lesson.course, hours, lesson.starts_at, lesson.ends_at),
            needed=needed(lesson.course, seats[lesson.pk], station.local(lesson.starts_at).date()),
        )
        for lesson in lessons
    )


def lessons_between(station: Station, start: datetime, end: datetime) -> tuple[LessonRow, ...]:
    """Return the lessons of a station that start in a span, by time, cancelled ones too: four queries."""
    lessons = Lesson.objects.between(start, end).filter(course__station=station).select_related("course")
    return rows_of(list(lessons), station)


def groups_of(outings: Sequence[Outing]) -> dict[int, str]:
    """Return by outing with whom a student is taught: the lesson, or their group of it: one query."""
    seats = Seat.objects.taken().filter(outing__in=outings).values_list("outing_id", "lesson_id", "group_no")
    return {
        outing_id: f"lesson {lesson_id}" + (f" group {group_no}" if group_no else "")
        for outing_id, lesson_id, group_no in seats
    }


@dataclass(frozen=True, slots=True)
class OpenLesson:
    """A lesson in which somebody can still take a seat. `spans` are all lessons that come with the seat."""

    lesson_id: int
    name: str
    about: str
    level: str
    language: str
    youngest_years: int
    starts_at: datetime
    ends_at: datetime
    seats: int
    left: int
    spans: tuple[tuple[datetime, datetime], ...]


def open_lessons(station: Station, day: date, *, now: datetime) -> tuple[OpenLesson, ...]:
    """Return the lessons of a day that have a free seat and have not begun: two queries.

    A course that is taken as a whole is offered on the day of its next lesson, with the seats that are free
    in all of its lessons to come.
    """
    start, end = day_bounds(day, station.zone)
    today = Lesson.objects.planned().between(start, end).filter(course__station=station, starts_at__gt=now)
    found = list(today.select_related("course"))
    to_come = _to_come(found, now)
    offered = []
    for lesson in found:
        with_it = [
            each for each in to_come[lesson.course_id] if lesson.course.sold_whole or each.pk == lesson.pk
        ]
        offer = _offer(lesson, with_it)
        if offer.left > 0 and with_it[0].pk == lesson.pk:
            offered.append(offer)
    return tuple(offered)


def lesson_on_offer(station: Station, lesson_id: int, *, now: datetime) -> OpenLesson:
    """Return one lesson as a seat in it is offered, full or not: two queries.

    Raises:
        NotVisible: none such here, or it is called off or has begun.
    """
    rows = Lesson.objects.planned().filter(pk=lesson_id, course__station=station, starts_at__gt=now)
    lesson = rows.select_related("course").first()
    if lesson is None:
        raise NotVisible(_("There is no such lesson to come."))
    with_it = [
        each
        for each in _to_come([lesson], now)[lesson.course_id]
        if each.pk == lesson.pk or (lesson.course.sold_whole and each.starts_at >= lesson.starts_at)
    ]
    return _offer(lesson, with_it)


def _to_come(lessons: Sequence[Lesson], now: datetime) -> defaultdict[int, list[Lesson]]:
    """The lessons to come of some lessons' courses, by course, with how many seats are taken: a query."""
    counted = Count(
        "seats", filter=Q(seats__live=True) & ~Q(seats__outing__state__in=("cancelled", "no_show"))
    )
    to_come: defaultdict[int, list[Lesson]] = defaultdict(list)
    rows = Lesson.objects.planned().filter(course__in=[each.course_id for each in lessons], starts_at__gt=now)
    for lesson in rows.annotate(taken=counted).order_by("starts_at", "id"):
        to_come[lesson.course_id].append(lesson)
    return to_come


def _offer(lesson: Lesson, with_it: Sequence[Lesson]) -> OpenLesson:
    course = lesson.course
    taken = max(int(each.taken) for each in with_it)  # type: ignore[attr-defined]  # annotated
    return OpenLesson(
        lesson_id=lesson.pk,
        name=course.name,
        about=course.about,
        level=course.level,
        language=course.language,
        youngest_years=course.youngest_years,
        starts_at=lesson.starts_at,
        ends_at=lesson.ends_at,
        seats=course.seats,
        left=max(course.seats - taken, 0),
        spans=tuple((each.starts_at, each.ends_at) for each in with_it),
    )


@dataclass(frozen=True, slots=True)
class Pupil:
    """A student of a lesson: what they can do, and what of their level is still open."""

    seat: Seat
    seen: tuple[str, ...]
    open: tuple[str, ...]

    @property
    def rider(self) -> Rider:
        """Who it is."""
        return self.seat.outing.rider

    @property
    def ready(self) -> bool:
        """Whether an instructor has seen all that riders of the level can do."""
        return not self.open


@dataclass(frozen=True, slots=True)
class Suggestion:
    """Students who might learn together, and why."""

    riders: tuple[Rider, ...]
    reason: Reason


@dataclass(frozen=True, slots=True)
class Sheet:
    """The lesson's own page."""

    row: LessonRow
    pupils: tuple[Pupil, ...]
    notices: tuple[Notice, ...]
    others: tuple[Lesson, ...]
    suggested: tuple[Suggestion, ...]
    spares: tuple[Item, ...]


def lesson_for(actor: Actor, station: Station, lesson_id: int) -> Lesson:
    """Return a lesson of a station with its course: one query.

    Raises:
        NotVisible: there is none there for this actor.
    """
    lesson = (
        Lesson.objects.visible_to(actor)
        .filter(course__station=station, pk=lesson_id)
        .select_related("course")
        .first()
    )
    if lesson is None:
        raise NotVisible("There is no such lesson here.")
    lesson.course.station = station
    return lesson


def sheet(lesson: Lesson, station: Station) -> Sheet:
    """Return a lesson's page: seven queries, however many students."""
    (row,) = rows_of([lesson], station)
    seen = skills_seen([seat.outing.rider_id for seat in row.seats])
    pupils = tuple(_pupil(seat, seen[seat.outing.rider_id]) for seat in row.seats)
    notices = Notice.objects.filter(lesson=lesson).select_related("party", "told_by").order_by("-id")
    others = Lesson.objects.filter(course=lesson.course_id).exclude(pk=lesson.pk).order_by("starts_at", "id")
    held = Hold.objects.filter(purpose=lesson.spares, live=True).select_related("item__model")
    spares = tuple(hold.item for hold in held.order_by("item__model__kind", "item__tag"))
    return Sheet(row, pupils, tuple(notices), tuple(others), _suggested(row), spares)


def _suggested(row: LessonRow) -> tuple[Suggestion, ...]:
    """Groups for one instructor each."""
    riders = {str(seat.pk): seat.outing.rider for seat in row.seats}
    found = groups.suggest_groups([student_of(seat) for seat in row.seats], int(row.course.riders_to_one))
    return tuple(
        Suggestion(tuple(riders[student.id] for student in group.students), group.reason) for group in found
    )


def skills_seen(rider_ids: Sequence[int]) -> defaultdict[int, frozenset[str]]:
    """Return what each rider has been seen to do and not been said to have lost: one query."""
    now_seen: defaultdict[int, dict[str, bool]] = defaultdict(dict)
    for rider_id, skill, seen in (
        Progress.objects.filter(rider__in=rider_ids).order_by("id").values_list("rider_id", "skill", "seen")
    ):
        now_seen[rider_id][skill] = seen
    found: defaultdict[int, frozenset[str]] = defaultdict(frozenset)
    for rider_id, skills_of in now_seen.items():
        found[rider_id] = frozenset(skill for skill, seen in skills_of.items() if seen)
    return found


def _pupil(seat: Seat, seen: frozenset[str]) -> Pupil:
    level = Level(seat.outing.rider.level)
    open_now = skills.open_lines(level, seen)
    own = tuple(text for key, text in skills.SKILLS[level] if key in seen)
    return Pupil(seat, own, tuple(text for _, text in open_now))


@dataclass(frozen=True, slots=True)
class Story:
    """What a rider can do, when it was seen and by whom, and each change of level."""

    rider: Rider
    seen: frozenset[str]
    lines: tuple[Progress, ...]
    words: tuple[LevelWord, ...]

    @property
    def told(self) -> tuple[tuple[Progress, str], ...]:
        """Each line with what it says."""
        return tuple((line, skills.TEXTS.get(line.skill, line.skill)) for line in self.lines)


def progress_of(rider: Rider) -> Story:
    """Return a rider's progress, the newest first: three queries."""
    lines = Progress.objects.filter(rider=rider).select_related("by").order_by("-id")
    words = LevelWord.objects.filter(rider=rider).select_related("by").order_by("-id")
    return Story(rider, skills_seen([rider.pk])[rider.pk], tuple(lines), tuple(words))
