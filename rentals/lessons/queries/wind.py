"""Lessons that the forecast speaks against, and what is proposed for each."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta

from rentals.bookings.models import Outing
from rentals.bookings.states import DROPPED
from rentals.lessons.mapping import Better, Span, better_time
from rentals.lessons.models import Assignment, Lesson
from rentals.lessons.queries.lessons import LessonRow, rows_of
from rentals.stations.models import Station
from rentals.weather import queries as weather

LOOK_AHEAD = timedelta(days=3)
"""How far ahead a forecast is trusted enough to move a lesson by it. Status: policy."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """A lesson outside its wind, and the time to move it to; without one it is proposed to be called off."""

    row: LessonRow
    better: Better | None

    @property
    def text(self) -> str:
        """Why, in a sentence."""
        return self.row.wind.reason.text if self.row.wind else ""


def wind_proposals(station: Station, *, now: datetime) -> tuple[Proposal, ...]:
    """Return what to do about lessons to come whose forecast is outside their wind: seven queries.

    Lessons without a forecast are left alone: no wind is known to speak against them.
    """
    until = now + LOOK_AHEAD
    lessons = (
        Lesson.objects.planned().between(now, until).filter(course__station=station).select_related("course")
    )
    against = [row for row in rows_of(list(lessons), station) if row.wind is not None and not row.wind.ok]
    if not against:
        return ()
    hours = weather.hours_between(station, now, until + timedelta(days=2))
    busy = _busy(against, now, until + timedelta(days=2))
    return tuple(
        Proposal(row, better_time(row.lesson, station, hours, busy[row.lesson.pk], now=now))
        for row in against
    )


def _busy(rows: list[LessonRow], start: datetime, end: datetime) -> defaultdict[int, list[Span]]:
    """By lesson, the spans in which its crew or a student has something else: two queries."""
    people = {seat.outing.rider_id for row in rows for seat in row.seats}
    outings = Outing.objects.filter(rider__in=people, starts_at__lt=end, ends_at__gt=start)
    of_rider: defaultdict[int, list[tuple[int, Span]]] = defaultdict(list)
    for outing in outings.exclude(state__in=DROPPED):
        of_rider[outing.rider_id].append((outing.pk, (outing.starts_at, outing.ends_at)))
    staff = {each.user_id for row in rows for each in row.crew}
    of_staff: defaultdict[int, list[tuple[int, Span]]] = defaultdict(list)
    for each in Assignment.objects.filter(user__in=staff, live=True, starts_at__lt=end, ends_at__gt=start):
        of_staff[each.user_id].append((each.lesson_id, (each.starts_at, each.ends_at)))
    busy: defaultdict[int, list[Span]] = defaultdict(list)
    for row in rows:
        for seat in row.seats:
            busy[row.lesson.pk] += [
                span for pk, span in of_rider[seat.outing.rider_id] if pk != seat.outing_id
            ]
        for member in row.crew:
            busy[row.lesson.pk] += [span for pk, span in of_staff[member.user_id] if pk != row.lesson.pk]
    return busy
