"""Rows as the trade's rules take them: ratios, winds to teach in, students to group, and times to move to."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from rentals.lessons.models import Course, Lesson, Seat
from rentals.lib.when import NotATime, moment
from rentals.stations.models import Station
from rentals.weather.mapping import covers
from rigging import wind
from rigging.checks import teaching
from rigging.groups import Student
from rigging.levels import Level

STEP = timedelta(minutes=30)
"""Starts that are looked at when a lesson is to move. Status: policy."""

FOR_THE_WIND = "The wind does not suit the lesson."
"""Begins the reason of every change that the forecast proposed: letters say it in the rider's language."""

Span = tuple[datetime, datetime]


def ratio_of(course: Course) -> teaching.Ratio:
    """Return how many riders a course gives to one instructor."""
    return teaching.Ratio(course.riders_to_one, course.children_to_one)


def needed(course: Course, seats: Sequence[Seat], day: date) -> teaching.Needed:
    """Return how many instructors the students of a lesson need."""
    ages = [float(seat.outing.rider.age_on(day)) for seat in seats]
    return teaching.instructors_needed(ages, ratio_of(course))


def teachable(
    course: Course, hours: Sequence[wind.Hour], start: datetime, end: datetime
) -> teaching.Teachable | None:
    """Judge the forecast of a span against a course's range; None where hours do not cover it."""
    inside = [hour for hour in hours if hour.start < end and hour.end > start]
    if not covers(inside, start, end):
        return None
    slot = wind.slot_wind(inside, start, end)
    return teaching.teachable(
        mean_ms=slot.beach_mean_ms,
        strongest_ms=float(wind.beach_wind(slot.strongest_mean_ms)),
        low_ms=course.low_ms,
        high_ms=course.high_ms,
    )


def student_of(seat: Seat) -> Student:
    """Return a seat's rider as groups are made of them."""
    rider = seat.outing.rider
    return Student(
        id=str(seat.pk),
        level=Level(rider.level),
        mass_kg=float(rider.mass_kg),
        language=seat.language,
    )


@dataclass(frozen=True, slots=True)
class Better:
    """Another time for a lesson, and the wind that is forecast then."""

    starts_at: datetime
    ends_at: datetime
    wind: teaching.Teachable


def better_time(
    lesson: Lesson, station: Station, hours: Sequence[wind.Hour], busy: Sequence[Span], *, now: datetime
) -> Better | None:
    """Return the teachable time nearest to a lesson's own, that day or else the next, or None.

    Args:
        lesson: with its course at hand.
        station: for its opening hours and clock.
        hours: the forecast of both days.
        busy: spans in which its crew or a student has something else.
        now: nothing before it.
    """
    length = lesson.ends_at - lesson.starts_at
    day = station.local(lesson.starts_at).date()
    for each in (day, day + timedelta(days=1)):
        starts = sorted(_starts(station, each, length), key=lambda at: abs(at - _on(lesson, station, each)))
        for start in starts:
            end = start + length
            if start <= now or any(first < end and last > start for first, last in busy):
                continue
            found = teachable(lesson.course, hours, start, end)
            if found is not None and found.ok:
                return Better(start, end, found)
    return None


def _starts(station: Station, day: date, length: timedelta) -> Iterator[datetime]:
    """Every start from which a lesson is over by closing."""
    try:
        at, closes = (moment(day, clock, station.zone) for clock in (station.opens, station.closes))
    except NotATime:
        return  # the clocks change as the station opens or closes: nothing is proposed for that day
    # In UTC: within one zone Python adds what the clock shows.
    at, closes = at.astimezone(UTC), closes.astimezone(UTC)
    while at + length <= closes:
        yield at
        at += STEP


def _on(lesson: Lesson, station: Station, day: date) -> datetime:
    """The lesson's own time of day on another day."""
    local = station.local(lesson.starts_at)
    return local.replace(year=day.year, month=day.month, day=day.day)
