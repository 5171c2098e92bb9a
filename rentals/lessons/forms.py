"""Courses, enrolments, duties, progress and changes as they are typed; winds in knots on the beach."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from django import forms

from rentals.bookings.services import Contact
from rentals.lessons.mapping import FOR_THE_WIND
from rentals.lessons.models import (
    AGE_YEARS,
    LANGUAGES,
    MOST_SEATS,
    RATIO,
    WIND_MS,
    Absence,
    Course,
    Duty,
    Lesson,
    Qualification,
)
from rentals.lessons.queries import Proposal, Pupil
from rentals.lessons.services import MOST_LESSONS, MOST_SHIFTS, Change, CourseFacts, PaperFacts
from rentals.lib import show
from rentals.lib.forms import MeasureField, MomentForm, NumberField, OnceForm, PlainForm
from rentals.lib.when import NotATime, moment
from rentals.people.models import Rider, User
from rentals.stations.models import LEVELS, Station
from rigging import units
from rigging.checks import skills, teaching
from rigging.levels import Level

LEAVE, OFF, BETTER = "leave", "off", "move"


def day_field(label: str, **values: Any) -> forms.DateField:
    """A day, picked or typed."""
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    return forms.DateField(label=label, widget=widget, **values)


def count_field(label: str, unit: str, low: float, high: float, **values: Any) -> NumberField:
    """A whole number."""
    return NumberField(label=label, unit=unit, low=low, high=high, decimal_places=0, **values)


class CourseForm(MomentForm, OnceForm):
    """What a course is."""

    name = forms.CharField(label="Name", max_length=80)
    about = forms.CharField(
        label="What they learn", max_length=300, required=False, help_text="riders read this when they book"
    )
    level = forms.ChoiceField(label="Level", choices=LEVELS)
    language = forms.ChoiceField(label="Taught in", choices=LANGUAGES)
    seats = count_field("Seats", "seats", 1, MOST_SEATS)
    riders_to_one = count_field("Students to one instructor", "students", *RATIO)
    children_to_one = count_field(
        "Children to one instructor",
        "children",
        *RATIO,
        help_text=f"below {teaching.CHILD_BELOW_YEARS:.0f} years",
    )
    youngest_years = count_field("From which age", "years", *AGE_YEARS)
    low_ms = MeasureField(
        label="Wind from, in {unit}", quantity="wind", low=0, high=WIND_MS[1], help_text="on the beach"
    )
    high_ms = MeasureField(
        label="Wind to, in {unit}", quantity="wind", low=units.from_knots(1), high=WIND_MS[1]
    )
    sold_whole = forms.BooleanField(
        label="Taken as a whole", required=False, help_text="a student has a seat in every lesson of it"
    )

    @classmethod
    def of(cls, course: Course, data: Any = None) -> "CourseForm":
        """Return the form filled with a course."""
        known = {name: getattr(course, name, None) for name in cls.base_fields}
        for name in ("riders_to_one", "children_to_one"):
            known[name] = f"{known[name]:g}"
        return cls(data, initial={key: value for key, value in known.items() if value is not None})

    def facts(self) -> CourseFacts:
        """Return what was entered, in SI units."""
        cleaned: dict[str, Any] = self.cleaned_data
        return CourseFacts(
            name=cleaned["name"],
            about=cleaned["about"],
            level=cleaned["level"],
            language=cleaned["language"],
            seats=int(cleaned["seats"]),
            riders_to_one=float(cleaned["riders_to_one"]),
            children_to_one=float(cleaned["children_to_one"]),
            youngest_years=int(cleaned["youngest_years"]),
            low_ms=float(cleaned["low_ms"]),
            high_ms=float(cleaned["high_ms"]),
            sold_whole=cleaned["sold_whole"],
        )


class NewCourseForm(CourseForm):
    """A course with its lessons: the same time of day on so many days in a row."""

    day = day_field("First day")
    starts_at = forms.CharField(label="From", max_length=12, help_text="such as 10:00")
    ends_at = forms.CharField(label="Until", max_length=12)
    days = count_field("Days in a row", "days", 1, MOST_LESSONS, help_text="1 for a single lesson")

    def spans(self, zone: ZoneInfo) -> list[tuple[datetime, datetime]] | None:
        """Return from when until when each lesson is; None where the clock has no such time."""
        return _spans(self, zone)


class LessonTimeForm(MomentForm, OnceForm):
    """A time for a lesson."""

    day = day_field("Day")
    starts_at = forms.CharField(label="From", max_length=12)
    ends_at = forms.CharField(label="Until", max_length=12)

    def span(self, zone: ZoneInfo) -> tuple[datetime, datetime] | None:
        """Return from when until when; None where the clock has no such time, which is said beside it."""
        start = self.moment_of("day", "starts_at", zone)
        end = self.moment_of("day", "ends_at", zone)
        return None if start is None or end is None else (start, end)


class MoveForm(LessonTimeForm):
    """Another time for a lesson, and why."""

    moves = forms.IntegerField(widget=forms.HiddenInput)
    why = forms.CharField(label="Why", max_length=200, help_text="the students read this")

    @classmethod
    def of(cls, lesson: Lesson, station: Station, data: Any = None) -> "MoveForm":
        """Return the form with a lesson's time."""
        start, end = station.local(lesson.starts_at), station.local(lesson.ends_at)
        known = {
            "day": start.date(),
            "starts_at": f"{start:%H:%M}",
            "ends_at": f"{end:%H:%M}",
            "moves": lesson.moves,
        }
        return cls(data, initial=known)


class CallOffForm(PlainForm):
    """Why a lesson does not take place."""

    moves = forms.IntegerField(widget=forms.HiddenInput)
    off_why = forms.CharField(
        label="Why it is called off", max_length=200, help_text="the students read this"
    )
    names: ClassVar[dict[str, str]] = {"why": "off_why"}


class EnrolForm(OnceForm):
    """Who speaks for those who enrol; the rows of riders are the booking page's."""

    contact_name = forms.CharField(label="Contact", max_length=120)
    contact_phone = forms.CharField(
        label="Phone", max_length=30, required=False, help_text="this or an email"
    )
    contact_email = forms.EmailField(label="Email", required=False, help_text="changes are told by mail")
    language = forms.ChoiceField(
        label="Taught in", choices=(("", "As the course is"), *LANGUAGES), required=False
    )
    note = forms.CharField(label="Note for the desk", max_length=300, required=False)

    def clean(self) -> dict[str, Any]:
        """Ask for a way to reach the party together with everything else that is missing."""
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if not (
            cleaned.get("contact_phone") or cleaned.get("contact_email") or "contact_email" in self.errors
        ):
            self.add_error("contact_phone", "Enter a phone number or an email, so that you can reach them.")
        return cleaned

    def contact(self) -> Contact:
        """Return who speaks for the party."""
        cleaned = self.cleaned_data
        return Contact(
            name=cleaned["contact_name"], phone=cleaned["contact_phone"], email=cleaned["contact_email"]
        )


class GroupsForm(PlainForm):
    """A group number for each student of a lesson."""

    def __init__(self, pupils: Sequence[Pupil], data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.pupils = pupils
        for pupil in pupils:
            self.fields[f"group.{pupil.seat.pk}"] = NumberField(
                label=f"{pupil.rider}, {pupil.rider.level}, {show.mass(pupil.rider.mass_kg)}",
                unit="",
                low=1,
                high=MOST_SEATS,
                decimal_places=0,
                required=False,
            )
            self.initial.setdefault(f"group.{pupil.seat.pk}", pupil.seat.group_no)

    def groups(self) -> dict[int, int | None]:
        """Return the group of each seat."""
        found = {pupil.seat.pk: self.cleaned_data[f"group.{pupil.seat.pk}"] for pupil in self.pupils}
        return {seat: None if number is None else int(number) for seat, number in found.items()}


class SkillsForm(PlainForm):
    """What a rider of a level can do, as ticks."""

    def __init__(self, level: Level, seen: frozenset[str], data: Any = None, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.level = level
        for key, text in skills.SKILLS[level]:
            self.fields[f"skill.{key}"] = forms.BooleanField(label=text, required=False)
            self.initial.setdefault(f"skill.{key}", key in seen)

    @property
    def ticked(self) -> set[str]:
        """Keys of what is ticked."""
        return {name.removeprefix("skill.") for name in self.fields if self.cleaned_data[name]}

    @property
    def shown(self) -> set[str]:
        """Keys that stand on the page."""
        return {name.removeprefix("skill.") for name in self.fields}


class LevelForm(PlainForm):
    """An instructor's word for another level."""

    seen_level = forms.CharField(widget=forms.HiddenInput)
    level = forms.ChoiceField(label="Is from now on", choices=LEVELS)
    why = forms.CharField(label="What you saw", max_length=300)

    @classmethod
    def of(cls, rider: Rider, data: Any = None) -> "LevelForm":
        """Return the form with the next level."""
        levels = list(Level)
        upward = levels[min(Level(rider.level).rank + 1, len(levels) - 1)]
        return cls(data, initial={"seen_level": rider.level, "level": upward.value})


class WindForm(PlainForm):
    """What to do about each lesson that the forecast speaks against."""

    def __init__(self, proposals: Sequence[Proposal], station: Station, data: Any = None) -> None:
        super().__init__(data)
        self.proposals = {proposal.row.lesson.pk: proposal for proposal in proposals}
        for pk, proposal in self.proposals.items():
            choices = [(LEAVE, "Leave it as it is"), (OFF, "Call it off")]
            chosen = OFF
            if proposal.better is not None:
                start = station.local(proposal.better.starts_at)
                end = station.local(proposal.better.ends_at)
                chosen = f"{BETTER}.{proposal.better.starts_at.astimezone(UTC):%Y%m%dT%H%M}"
                time = f"{start:%a %-d %b}, {start:%H:%M}–{end:%H:%M}"
                choices = [(chosen, f"Move to {time}: {proposal.better.wind.reason.text}"), *choices]
            self.fields[f"do.{pk}"] = forms.ChoiceField(
                label="What to do",
                choices=choices,
                widget=forms.RadioSelect,
                error_messages={"invalid_choice": "The forecast has changed. Choose again."},
            )
            self.initial[f"do.{pk}"] = chosen

    @property
    def rows(self) -> list[tuple[Proposal, forms.BoundField]]:
        """Each proposal with its choice."""
        return [(proposal, self[f"do.{pk}"]) for pk, proposal in self.proposals.items()]

    def changes(self) -> list[Change]:
        """Return what was decided, left out what stays."""
        found = []
        for pk, proposal in self.proposals.items():
            decided, lesson = self.cleaned_data[f"do.{pk}"], proposal.row.lesson
            if decided == LEAVE:
                continue
            to = proposal.better if decided != OFF else None
            found.append(
                Change(
                    lesson_id=pk,
                    moves=lesson.moves,
                    why=f"{FOR_THE_WIND} {proposal.text}",
                    starts_at=to.starts_at if to else None,
                    ends_at=to.ends_at if to else None,
                )
            )
        return found


class StaffForm(MomentForm):
    """Whatever is about one of the staff."""

    user = forms.ChoiceField(label="Who")

    def __init__(self, staff: Sequence[User], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["user"].choices = [(str(user.pk), user.shown_name) for user in staff]  # type: ignore[attr-defined]  # a ChoiceField

    @property
    def user_id(self) -> int:
        """Whom it is about."""
        return int(self.cleaned_data["user"])


class ShiftForm(StaffForm):
    """Somebody's time on the roster, on so many days in a row."""

    duty = forms.ChoiceField(label="What for", choices=Duty.choices)
    day = day_field("First day")
    starts_at = forms.CharField(label="From", max_length=12)
    ends_at = forms.CharField(label="Until", max_length=12)
    days = count_field("Days in a row", "days", 1, MOST_SHIFTS)

    def spans(self, zone: ZoneInfo) -> list[tuple[datetime, datetime]] | None:
        """Return from when until when on each day; None where the clock has no such time."""
        return _spans(self, zone)


class AbsenceForm(StaffForm):
    """Whole days on which somebody is away."""

    why = forms.ChoiceField(label="Kind", choices=Absence.Why.choices)
    first = day_field("First day")
    last = day_field("Last day")
    names: ClassVar[dict[str, str]] = {"ends_at": "last", "starts_at": "first"}

    def span(self, station: Station) -> tuple[datetime, datetime]:
        """Return the days as a span."""
        zone = station.zone
        first, after = self.cleaned_data["first"], self.cleaned_data["last"] + timedelta(days=1)
        start = datetime(first.year, first.month, first.day, tzinfo=zone)
        return start.astimezone(UTC), datetime(after.year, after.month, after.day, tzinfo=zone).astimezone(
            UTC
        )


class PaperForm(StaffForm):
    """A qualification that was seen."""

    kind = forms.ChoiceField(label="For", choices=Qualification.Kind.choices)
    level = forms.ChoiceField(
        label="Teaches up to", choices=(("", "–"), *LEVELS), required=False, help_text="for teaching only"
    )
    paper = forms.CharField(label="Paper", max_length=80, help_text="as it is called")
    since = day_field("Valid from")
    until = day_field("Valid until", required=False, help_text="leave empty where it has no end")

    def facts(self) -> PaperFacts:
        """Return what was entered."""
        cleaned = self.cleaned_data
        return PaperFacts(
            kind=cleaned["kind"],
            level=cleaned["level"],
            paper=cleaned["paper"],
            since=cleaned["since"],
            until=cleaned["until"],
        )


def _spans(form: MomentForm, zone: ZoneInfo) -> list[tuple[datetime, datetime]] | None:
    """The same time of day on so many days in a row: by the wall, whatever the clocks do meanwhile."""
    cleaned = form.cleaned_data
    first: date = cleaned["day"]
    found = []
    for number in range(int(cleaned["days"])):
        day = first + timedelta(days=number)
        pair = []
        for name in ("starts_at", "ends_at"):
            try:
                pair.append(moment(day, cleaned[name], zone))
            except NotATime as problem:
                form.add_error(name, str(problem))
                return None
        found.append((pair[0], pair[1]))
    return found
