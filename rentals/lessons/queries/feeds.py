"""What a calendar feed tells: lessons and duties, never a rider's name."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Q

from rentals.lessons.models import Assignment, Duty, Feed, Lesson, Shift
from rentals.lib.ical import Happening
from rentals.lib.secret import digest
from rentals.stations.models import Station

BACK, AHEAD = timedelta(days=31), timedelta(days=400)


@dataclass(frozen=True, slots=True)
class Told:
    """A feed's calendar: its name and events."""

    name: str
    happenings: tuple[Happening, ...]


def told(token: str, *, now: datetime) -> Told | None:
    """Return what the feed at a secret address tells, None where there is none any more: four queries."""
    feed = (
        Feed.objects.filter(digest=digest(token), revoked_at=None).select_related("station", "user").first()
    )
    if feed is None:
        return None
    lessons = _lessons(feed, now)
    events = [_lesson(lesson, feed.station) for lesson in lessons]
    name = f"{feed.station.name}: lessons"
    if feed.user is not None:
        shifts = Shift.objects.filter(user=feed.user, station=feed.station, live=True)
        events += [_shift(each, feed.station) for each in shifts.filter(starts_at__range=_span(now))]
        name = f"{feed.station.name}: {feed.user.shown_name}"
    return Told(name, tuple(sorted(events, key=lambda each: (each.starts_at, each.uid))))


def _span(now: datetime) -> tuple[datetime, datetime]:
    return now - BACK, now + AHEAD


def _lessons(feed: Feed, now: datetime) -> list[Lesson]:
    """Lessons of the station, or those that the person has or, when called off, had."""
    lessons = Lesson.objects.filter(course__station=feed.station, starts_at__range=_span(now))
    if feed.user is not None:
        theirs = Assignment.objects.filter(user=feed.user).filter(Q(live=True) | Q(lesson__state="cancelled"))
        lessons = lessons.filter(pk__in=theirs.values("lesson"))
    taken = Count("seats", filter=Q(seats__live=True) & ~Q(seats__outing__state__in=("cancelled", "no_show")))
    return list(lessons.select_related("course").annotate(taken=taken).order_by("starts_at", "id"))


def _lesson(lesson: Lesson, station: Station) -> Happening:
    course = lesson.course
    taken = int(lesson.taken)  # type: ignore[attr-defined]  # annotated
    description = f"{course.level}, {course.language}: {taken} of {course.seats} seats taken"
    if lesson.state == "cancelled":
        description = f"Called off: {lesson.why}"
    return Happening(
        uid=f"lesson-{lesson.pk}@{station.slug}.marram.invalid",
        starts_at=lesson.starts_at,
        ends_at=lesson.ends_at,
        summary=course.name,
        description=description,
        place=station.name,
        latitude_deg=station.latitude_deg,
        longitude_deg=station.longitude_deg,
        changed_at=lesson.changed_at,
        sequence=lesson.moves,
        cancelled=lesson.state == "cancelled",
    )


def _shift(shift: Shift, station: Station) -> Happening:
    return Happening(
        uid=f"shift-{shift.pk}@{station.slug}.marram.invalid",
        starts_at=shift.starts_at,
        ends_at=shift.ends_at,
        summary=f"On duty: {Duty(shift.duty).label.lower()}",
        place=station.name,
        changed_at=shift.made_at,
    )
