"""A school at Tarrow Lagoon: courses, lessons, instructors with papers, and students."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from rentals.bookings.models import Booking
from rentals.bookings.services import Contact
from rentals.lessons import services
from rentals.lessons.models import Assignment, Course, Duty, Lesson, Qualification, Seat
from rentals.lessons.services import Change, CourseFacts, PaperFacts
from rentals.lib.access import Role
from rentals.people.models import Posting, Rider, User
from rentals.people.services import RiderFacts
from tests.rentals.walk import HOUR, Walk

KNOT_MS = 1852 / 3600

FACTS = CourseFacts(
    name="First steps",
    level="beginner",
    seats=4,
    riders_to_one=6,
    children_to_one=4,
    youngest_years=8,
    low_ms=6 * KNOT_MS,
    high_ms=14 * KNOT_MS,
    language="en",
)


@dataclass(frozen=True)
class School:
    """The cast's school."""

    cast: Walk

    def course(self, *, hours: tuple[int, ...] = (14,), days: int = 1, **facts: Any) -> Course:
        """A course of two-hour lessons, one a day at each hour."""
        values = {name: getattr(FACTS, name) for name in FACTS.__dataclass_fields__}
        spans = [
            (self.cast.at(hour) + timedelta(days=day), self.cast.at(hour + 2) + timedelta(days=day))
            for day in range(days)
            for hour in hours
        ]
        return services.plan_course(
            actor=self.cast.ida,
            station_id=self.cast.tarrow.pk,
            facts=CourseFacts(**{**values, **facts}),
            spans=spans,
            now=self.cast.now,
        )

    def lesson(self, **facts: Any) -> Lesson:
        """The first lesson of a course."""
        return (
            Lesson.objects.select_related("course__station")
            .filter(course=self.course(**facts))
            .order_by("id")[0]
        )

    def student(self, name: str = "Sedge Rowan", **facts: Any) -> Rider:
        """A beginner known here."""
        return self.cast.rider(name, **{"level": "beginner", **facts})

    def enrol(self, lesson: Lesson, *riders: Rider | RiderFacts, **values: Any) -> Booking:
        """Enrol riders, somebody new unless they are named."""
        usual: dict[str, Any] = {
            "actor": self.cast.ida,
            "contact": Contact(name="Sedge Rowan", phone="0700 300 400", email="sedge@rowan.invalid"),
            "riders": [each.pk if isinstance(each, Rider) else each for each in riders or [self.student()]],
            "now": self.cast.now,
        }
        return services.enrol(lesson_id=lesson.pk, **{**usual, **values})

    def kitted(self) -> Lesson:
        """A lesson at eleven whose student, Wren, has the 5.7; the shed has the parts of one rig more."""
        cast = self.cast
        lesson = self.lesson(hours=(11,), level="advanced", high_ms=15.0)
        self.enrol(lesson, cast.wren)
        cast.blow()
        for tag, like in (("M9", "M1"), ("B9", "B1"), ("X9", "X1"), ("T9", "T1")):
            assert cast.shed
            cast.one_more(tag, like=like)
        cast.kit(self.seats(lesson)[0].outing)
        return lesson

    def seats(self, lesson: Lesson) -> list[Seat]:
        """Who comes, by seat."""
        return list(
            Seat.objects.taken().filter(lesson=lesson).select_related("outing__rider").order_by("number")
        )

    def paper(self, user: User, kind: str = "teach", level: str = "advanced", **values: Any) -> Qualification:
        """A paper that counts all year."""
        facts = {"paper": "Instructor licence", "since": date(2027, 1, 1), "until": date(2027, 12, 31)}
        return services.keep_paper(
            actor=self.cast.boss,
            station_id=self.cast.tarrow.pk,
            user_id=user.pk,
            facts=PaperFacts(kind=kind, level=level if kind == "teach" else "", **{**facts, **values}),
            now=self.cast.now,
        )

    def teacher(self, username: str = "bryony", level: str = "advanced") -> User:
        """An instructor of Tarrow Lagoon with a paper."""
        user = User.objects.create(username=username, first_name=username.capitalize(), last_name="Reed")
        since = self.cast.now.date() - timedelta(days=100)
        Posting.objects.create(user=user, station=self.cast.tarrow, role=Role.INSTRUCTOR, since=since)
        self.paper(user, level=level)
        return user

    def assign(self, lesson: Lesson, user: User, duty: str = Duty.TEACH, **values: Any) -> Assignment:
        """Give somebody a lesson."""
        usual = {"actor": self.cast.ida, "now": self.cast.now}
        return services.assign(lesson_id=lesson.pk, user_id=user.pk, duty=duty, **{**usual, **values})

    def move(self, lesson: Lesson, *, by: timedelta | None = HOUR, **values: Any) -> Lesson:
        """Move a lesson, or call it off with `by=None`."""
        start = None if by is None else lesson.starts_at + by
        end = None if by is None else lesson.ends_at + by
        change = Change(
            lesson_id=lesson.pk,
            moves=values.pop("moves", lesson.moves),
            why=values.pop("why", "Too strong."),
            starts_at=start,
            ends_at=end,
        )
        usual = {"actor": self.cast.ida, "station_id": self.cast.tarrow.pk, "now": self.cast.now}
        (moved,) = services.change_lessons(changes=[change], **{**usual, **values})
        return moved

    def shift(self, user: User, start: datetime, end: datetime, duty: str = Duty.TEACH) -> None:
        """Put somebody on the roster."""
        services.roster_shifts(
            actor=self.cast.boss,
            station_id=self.cast.tarrow.pk,
            user_id=user.pk,
            duty=duty,
            spans=[(start, end)],
            now=self.cast.now,
        )

    def away(self, user: User, start: datetime, end: datetime) -> list[Lesson]:
        """Note somebody away; return the lessons that lost them."""
        _absence, lost = services.note_absence(
            actor=self.cast.boss,
            station_id=self.cast.tarrow.pk,
            user_id=user.pk,
            why="ill",
            starts_at=start,
            ends_at=end,
            now=self.cast.now,
        )
        return lost


def facts(name: str = "Tansy Rowan", **values: Any) -> RiderFacts:
    """Facts of somebody new."""
    usual: dict[str, Any] = {
        "born_on": date(1995, 3, 1),
        "mass_kg": Decimal(64),
        "stature_cm": 168,
        "level": "taster",
        "swims": True,
    }
    return RiderFacts(name=name, **{**usual, **values})
