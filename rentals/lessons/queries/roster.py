"""Who is on duty, who may teach what, who is away, and who could take a lesson."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from rentals.lessons.models import (
    Absence,
    Assignment,
    Duty,
    Feed,
    Lesson,
    Qualification,
    Shift,
)
from rentals.lib.when import day_bounds
from rentals.people.models import Posting, User
from rentals.stations.models import Station
from rigging.levels import Level

EXPIRES_SOON = timedelta(days=45)


@dataclass(frozen=True, slots=True)
class OnDuty:
    """An instructor who is here: on the roster or in a lesson, not away, with a paper that counts today."""

    user_id: int
    name: str
    level: Level
    until: datetime
    in_lesson: bool


def instructors_on_duty(station: Station, at: datetime) -> tuple[OnDuty, ...]:
    """Return who may teach at a station at a moment, by name: four queries.

    A check beside the beach log for the launch gates: the log says what somebody saw, this what was planned.
    """
    covering = {"live": True, "starts_at__lte": at, "ends_at__gt": at, "duty": Duty.TEACH}
    found: dict[int, tuple[User, datetime, bool]] = {}
    for shift in (
        Shift.objects.meeting(at, at + timedelta(seconds=1))
        .filter(station=station, duty=Duty.TEACH, starts_at__lte=at)
        .select_related("user")
    ):
        found[shift.user_id] = (shift.user, shift.ends_at, False)
    for each in Assignment.objects.filter(lesson__course__station=station, **covering).select_related("user"):
        until = max(each.ends_at, found[each.user_id][1]) if each.user_id in found else each.ends_at
        found[each.user_id] = (each.user, until, True)
    away = set(
        Absence.objects.filter(user__in=found, live=True, starts_at__lte=at, ends_at__gt=at).values_list(
            "user_id", flat=True
        )
    )
    levels = teaching_levels(station, station.local(at).date(), list(found))
    here = [
        OnDuty(user_id, user.shown_name, levels[user_id], until, in_lesson)
        for user_id, (user, until, in_lesson) in found.items()
        if user_id not in away and user_id in levels
    ]
    return tuple(sorted(here, key=lambda each: (each.name, each.user_id)))


def teaching_levels(station: Station, day: date, user_ids: Sequence[int]) -> dict[int, Level]:
    """Return up to which level each may teach on a day, left out who may not: one query."""
    levels: dict[int, Level] = {}
    papers = Qualification.objects.valid_on(day).filter(
        station=station, user__in=user_ids, kind=Qualification.Kind.TEACH
    )
    for user_id, name in papers.values_list("user_id", "level"):
        level = Level(name)
        if user_id not in levels or level.rank > levels[user_id].rank:
            levels[user_id] = level
    return levels


@dataclass(frozen=True, slots=True)
class Candidate:
    """Somebody of the staff for a lesson; `why_not` is empty for who may be asked."""

    user: User
    duty: Duty
    why_not: str
    note: str


def candidates(lesson: Lesson, station: Station) -> tuple[Candidate, ...]:
    """Return who could teach a lesson or man its boat, the able first: five queries.

    Args:
        lesson: with its course at hand.
        station: its station.
    """
    start, end, day = lesson.starts_at, lesson.ends_at, station.local(lesson.starts_at).date()
    staff = staff_of(station, day)
    ids = [user.pk for user in staff]
    levels = teaching_levels(station, day, ids)
    boat = set(
        Qualification.objects.valid_on(day)
        .filter(station=station, user__in=ids, kind=Qualification.Kind.BOAT)
        .values_list("user_id", flat=True)
    )
    busy = _busy(ids, lesson, start, end)
    rostered = {
        shift.user_id
        for shift in Shift.objects.meeting(start, end).filter(user__in=ids)
        if shift.starts_at <= start and shift.ends_at >= end
    }
    found = []
    for user in staff:
        note = "" if user.pk in rostered else "not on the roster then"
        level = levels.get(user.pk)
        low = level is None or level.rank < Level(lesson.course.level).rank
        teach = f"No paper to teach {lesson.course.level} riders on that day." if low else ""
        found.append(Candidate(user, Duty.TEACH, busy.get(user.pk) or teach, note))
        helm = "" if user.pk in boat else "No safety boat paper on that day."
        found.append(Candidate(user, Duty.BOAT, busy.get(user.pk) or helm, note))
    return tuple(sorted(found, key=lambda each: (bool(each.why_not), each.note, each.user.shown_name)))


def staff_of(station: Station, day: date) -> list[User]:
    """Return who works at a station on a day, by name: one query."""
    ids = Posting.objects.on(day).filter(station=station).values("user")
    return list(User.objects.filter(pk__in=ids, is_active=True).order_by("first_name", "last_name", "id"))


def _busy(ids: Sequence[int], lesson: Lesson, start: datetime, end: datetime) -> Mapping[int, str]:
    """Why somebody cannot: away, or in a lesson."""
    said = dict.fromkeys(
        Absence.objects.filter(user__in=ids, live=True, starts_at__lt=end, ends_at__gt=start).values_list(
            "user_id", flat=True
        ),
        "Away then.",
    )
    taught = Assignment.objects.filter(user__in=ids, live=True, starts_at__lt=end, ends_at__gt=start)
    for each in taught.select_related("lesson__course"):
        said[each.user_id] = (
            "In this lesson already."
            if each.lesson_id == lesson.pk
            else f"In {each.lesson.course.name} then."
        )
    return said


@dataclass(frozen=True, slots=True)
class Paper:
    """A qualification and how it stands today."""

    row: Qualification
    word: str


@dataclass(frozen=True, slots=True)
class RosterLine:
    """One thing of somebody's day, in words, and what it is: a shift, a lesson or an absence."""

    text: str
    shift_id: int | None = None
    lesson_id: int | None = None
    absence_id: int | None = None


@dataclass(frozen=True, slots=True)
class StaffRow:
    """One person of the roster's week: their papers, and each day's duties, lessons and absences."""

    user: User
    papers: tuple[Paper, ...]
    week: tuple[tuple[date, tuple[RosterLine, ...]], ...]


@dataclass(frozen=True, slots=True)
class Roster:
    """A week of the roster."""

    first: date
    days: tuple[date, ...]
    staff: tuple[StaffRow, ...]
    feeds: tuple[Feed, ...]


def roster(station: Station, first: date, *, today: date) -> Roster:
    """Return a week of a station's roster from a day on: six queries, however many people."""
    days = tuple(first + timedelta(days=number) for number in range(7))
    start, end = day_bounds(first, station.zone)[0], day_bounds(days[-1], station.zone)[1]
    staff = staff_of(station, first)
    ids = [user.pk for user in staff]
    papers: defaultdict[int, list[Paper]] = defaultdict(list)
    for row in Qualification.objects.filter(station=station, user__in=ids).order_by("kind", "until", "id"):
        papers[row.user_id].append(Paper(row, _word(row, today)))
    spans: list[Shift | Assignment | Absence] = [
        *Shift.objects.meeting(start, end).filter(user__in=ids, station=station).order_by("starts_at"),
        *Assignment.objects.filter(
            user__in=ids, live=True, starts_at__lt=end, ends_at__gt=start, lesson__course__station=station
        )
        .select_related("lesson__course")
        .order_by("starts_at"),
        *Absence.objects.filter(user__in=ids, live=True, starts_at__lt=end, ends_at__gt=start),
    ]
    rows = tuple(
        StaffRow(user, tuple(papers[user.pk]), tuple(_week(user, days, spans, station))) for user in staff
    )
    feeds = Feed.objects.filter(station=station, revoked_at=None).select_related("user").order_by("id")
    return Roster(first, days, rows, tuple(feeds))


def _week(
    user: User, days: Sequence[date], spans: Sequence[Shift | Assignment | Absence], station: Station
) -> Iterator[tuple[date, tuple[RosterLine, ...]]]:
    theirs = [each for each in spans if each.user_id == user.pk]
    for day in days:
        begins, ends = day_bounds(day, station.zone)
        found = (each for each in theirs if each.starts_at < ends and each.ends_at > begins)
        yield day, tuple(_line(each, station) for each in found)


def _line(each: Shift | Assignment | Absence, station: Station) -> RosterLine:
    if isinstance(each, Absence):
        return RosterLine(each.get_why_display(), absence_id=each.pk)
    times = f"{station.local(each.starts_at):%H:%M}–{station.local(each.ends_at):%H:%M}"
    duty = Duty(each.duty).label.lower()
    if isinstance(each, Shift):
        return RosterLine(f"{times} {duty}", shift_id=each.pk)
    return RosterLine(f"{times} {each.lesson.course.name}, {duty}", lesson_id=each.lesson_id)


def _word(paper: Qualification, today: date) -> str:
    if paper.until is not None and paper.until < today:
        return "expired"
    if paper.since > today:
        return "not yet"
    if paper.until is not None and paper.until - today <= EXPIRES_SOON:
        return "expires soon"
    return "valid"
