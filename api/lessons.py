"""Lessons: what is taught when, who has a seat, who teaches; enrolling, moving, what students can do."""

from datetime import date
from http import HTTPStatus
from typing import Any

from rest_framework import serializers
from rest_framework.response import Response

from api.bookings import Contact
from api.endpoint import Asked, Endpoint
from api.paging import PageQuery
from api.riders import RiderFacts
from api.schema import operation
from api.shapes import Choice, Day, Id, In, Moment, Note, Number, Out, RiderBrief, Text
from rentals.bookings import services as bookings
from rentals.lessons import queries, services
from rentals.lessons.models import AGE_YEARS, MOST_SEATS, RATIO, WIND_MS, Duty, Lesson
from rentals.lessons.states import LessonState
from rentals.lib import clock
from rentals.lib.problems import NotVisible
from rentals.lib.when import day_bounds
from rentals.people import services as people
from rentals.people.models import Rider
from rentals.stations.models import LEVELS
from rigging.checks import skills

STATES = [state.value for state in LessonState]


class CourseShape(Out):
    """What is taught; winds in m/s at head height on the beach."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    about = serializers.CharField()
    level = serializers.ChoiceField(LEVELS)
    language = serializers.CharField()
    seats = serializers.IntegerField()
    riders_to_one = serializers.FloatField(help_text="Most students to one instructor.")
    children_to_one = serializers.FloatField()
    youngest_years = serializers.IntegerField()
    low_ms = serializers.FloatField()
    high_ms = serializers.FloatField()
    sold_whole = serializers.BooleanField(help_text="A student has a seat in every lesson of it.")


class LessonShape(Out):
    """One lesson of a course."""

    id = serializers.IntegerField()
    course = CourseShape()
    starts_at = Moment()
    ends_at = Moment()
    state = serializers.ChoiceField(STATES)
    moves = serializers.IntegerField(help_text="How often it was moved; a change names the last.")
    why = serializers.CharField(help_text="Of its last change.")


class SeatShape(Out):
    """A student's seat."""

    number = serializers.IntegerField()
    outing_id = serializers.IntegerField()
    rider = RiderBrief(source="outing.rider")
    language = serializers.CharField()
    group_no = serializers.IntegerField(allow_null=True)


class CrewShape(Out):
    """Who teaches, or mans the safety boat."""

    name = serializers.CharField(source="user.shown_name")
    duty = serializers.ChoiceField(Duty.choices)


class LessonWhole(Out):
    """A lesson with its students and crew, and what it lacks."""

    lesson = LessonShape()
    seats = SeatShape(many=True)
    left = serializers.IntegerField(help_text="Seats that are free.")
    crew = CrewShape(many=True)
    instructors_needed = serializers.IntegerField(source="needed.instructors")
    wind = serializers.CharField(
        source="wind.reason.text", default="", help_text="How the forecast suits it."
    )
    lacks = serializers.ListField(child=serializers.CharField())


class OpenLessonShape(Out):
    """A lesson with a free seat."""

    lesson_id = serializers.IntegerField()
    name = serializers.CharField()
    about = serializers.CharField()
    level = serializers.ChoiceField(LEVELS)
    language = serializers.CharField()
    youngest_years = serializers.IntegerField()
    starts_at = Moment()
    ends_at = Moment()
    seats = serializers.IntegerField()
    left = serializers.IntegerField()


class OpenLessonsShape(Out):
    """The lessons of a day that have a free seat and have not begun."""

    day = serializers.DateField()
    lessons = OpenLessonShape(many=True)


class OnDutyShape(Out):
    """An instructor who is on duty."""

    user_id = serializers.IntegerField()
    name = serializers.CharField()
    level = serializers.ChoiceField(LEVELS, help_text="Teaches up to it.")
    until = Moment()
    in_lesson = serializers.BooleanField()


class OnDutyNow(Out):
    """Who may teach at a moment."""

    at = Moment()
    instructors = OnDutyShape(many=True)


class Span(In):
    """From when until when."""

    starts_at = Moment()
    ends_at = Moment()


class NewCourse(In):
    """A course with its lessons; a single lesson is a course of one."""

    name = Text(most=80)
    about = Note()
    level = Choice(LEVELS)
    language = Text(most=8)
    seats = serializers.IntegerField(min_value=1, max_value=MOST_SEATS)
    riders_to_one = Number(low=RATIO[0], high=RATIO[1])
    children_to_one = Number(low=RATIO[0], high=RATIO[1])
    youngest_years = serializers.IntegerField(min_value=AGE_YEARS[0], max_value=AGE_YEARS[1])
    low_ms = Number(low=WIND_MS[0], high=WIND_MS[1])
    high_ms = Number(low=WIND_MS[0], high=WIND_MS[1])
    sold_whole = serializers.BooleanField(default=False)
    lessons = serializers.ListField(child=Span(), min_length=1, max_length=services.MOST_LESSONS)


class Enrolment(In):
    """A party that takes seats."""

    contact = Contact()
    rider_ids = serializers.ListField(child=Id(), default=list, max_length=bookings.MOST_RIDERS)
    new_riders = serializers.ListField(child=RiderFacts(), default=list, max_length=bookings.MOST_RIDERS)
    language = Note(most=8)
    note = Note()


class LessonChange(In):
    """A lesson's new time, or none to call it off; `moves` as the lesson was read."""

    moves = serializers.IntegerField(min_value=0, max_value=10_000)
    why = Text(most=200)
    starts_at = Moment(required=False)
    ends_at = Moment(required=False)


class Ticks(In):
    """What an instructor saw: of the skills that were looked at, those that the rider can do."""

    shown = serializers.ListField(child=Text(most=40), max_length=60)
    seen = serializers.ListField(child=Text(most=40), max_length=60)
    lesson_id = Id(required=False)


class SkillShape(Out):
    """A skill and whether it counts as seen now."""

    key = serializers.CharField()
    text = serializers.CharField()
    seen = serializers.BooleanField()


class ProgressShape(Out):
    """What a rider can do."""

    rider_id = serializers.IntegerField()
    level = serializers.ChoiceField(LEVELS)
    skills = SkillShape(many=True)


class LessonQuery(PageQuery):
    """Which lessons."""

    day = Day(required=False, help_text="That they start on, at the station; all when left out.")
    state = Choice(STATES, required=False)


class DayQuery(In):
    """Which day."""

    day = Day(required=False, help_text="At the station; today when left out.")


class Lessons(Endpoint):
    """Lessons of a station."""

    @operation("list_lessons", LessonShape, many=True, query=LessonQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List lessons by time."""
        at, asked = self.station(station), self.query(LessonQuery)
        rows = Lesson.objects.filter(course__station=at).select_related("course")
        if "day" in asked:
            start, end = day_bounds(asked["day"], at.zone)
            rows = rows.filter(starts_at__gte=start, starts_at__lt=end)
        if "state" in asked:
            rows = rows.filter(state=asked["state"])
        return self.page(LessonShape, rows, "starts_at", asked)


class Courses(Endpoint):
    """Courses of a station."""

    @operation("plan_course", CourseShape, status=HTTPStatus.CREATED, body=NewCourse, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Plan a course with its lessons."""
        at, sent = self.station(station), self.body(NewCourse)
        spans = [(each["starts_at"], each["ends_at"]) for each in sent.pop("lessons")]
        course = services.plan_course(
            actor=request.actor,
            station_id=at.pk,
            facts=services.CourseFacts(**sent),
            spans=spans,
            once=self.once(),
            now=clock.now(),
        )
        return self.say(CourseShape, course, HTTPStatus.CREATED)

    def pointer_of(self, name: str) -> str:
        """Return where the body holds what the service calls `starts_at` or `days`."""
        return "/lessons" if name in ("starts_at", "ends_at", "days") else super().pointer_of(name)


class OpenLessons(Endpoint):
    """Lessons with a free seat."""

    @operation("list_open_lessons", OpenLessonsShape, query=DayQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List the lessons of a day that still take students."""
        at, now = self.station(station), clock.now()
        day: date = self.query(DayQuery).get("day") or at.local(now).date()
        found = queries.open_lessons(at, day, now=now)
        return self.say(OpenLessonsShape, {"day": day, "lessons": found})


class OnDuty(Endpoint):
    """Instructors on duty."""

    @operation("list_instructors_on_duty", OnDutyNow)
    def get(self, request: Asked, station: str) -> Response:
        """List who may teach now, by roster, lessons and papers."""
        at, now = self.station(station), clock.now()
        return self.say(OnDutyNow, {"at": now, "instructors": queries.instructors_on_duty(at, now)})


class OneLesson(Endpoint):
    """One lesson."""

    @operation("get_lesson", LessonWhole)
    def get(self, request: Asked, lesson_id: int) -> Response:
        """Return a lesson with its students and crew."""
        return _whole(self, lesson_id)


class Enrol(Endpoint):
    """Taking seats."""

    @operation("enrol", LessonWhole, status=HTTPStatus.CREATED, body=Enrolment, once=True)
    def post(self, request: Asked, lesson_id: int) -> Response:
        """Give riders of a party seats, in the whole course where it is taken as one."""
        sent = self.body(Enrolment)
        services.enrol(
            actor=request.actor,
            lesson_id=lesson_id,
            contact=bookings.Contact(**sent["contact"]),
            riders=[*sent["rider_ids"], *(people.RiderFacts(**facts) for facts in sent["new_riders"])],
            language=sent["language"],
            note=sent["note"],
            once=self.once(),
            now=clock.now(),
        )
        return _whole(self, lesson_id, HTTPStatus.CREATED)

    def pointer_of(self, name: str) -> str:
        """Return where the body holds what the service calls `contact_name` or `riders.2.mass_kg`."""
        whose, _, field = name.partition("_")
        if whose == "contact":
            return f"/contact/{field}"
        if not name.startswith("riders"):
            return super().pointer_of(name)
        known = len(self.sent.get("rider_ids", ()))
        number, _, field = name.removeprefix("riders.").partition(".")
        if not number.isdigit():
            return "/new_riders"
        at = int(number)
        return f"/rider_ids/{at}" if at < known else f"/new_riders/{at - known}/{field}"


class ChangeLesson(Endpoint):
    """Moving a lesson or calling it off."""

    @operation("change_lesson", LessonWhole, body=LessonChange)
    def post(self, request: Asked, lesson_id: int) -> Response:
        """Move a lesson, or call it off; every party is told."""
        lesson, sent = _seen(self, lesson_id), self.body(LessonChange)
        services.change_lessons(
            actor=request.actor,
            station_id=lesson.course.station_id,
            changes=[services.Change(lesson_id=lesson.pk, **sent)],
            now=clock.now(),
        )
        return _whole(self, lesson_id)


class RiderProgress(Endpoint):
    """What a rider can do."""

    @operation("get_progress", ProgressShape)
    def get(self, request: Asked, rider_id: int) -> Response:
        """Return every skill and whether it was seen."""
        return _progress(self, rider_id)

    @operation("note_progress", ProgressShape, body=Ticks)
    def post(self, request: Asked, rider_id: int) -> Response:
        """Keep what was seen; the level changes by an instructor's word only, not by this."""
        services.note_progress(actor=request.actor, rider_id=rider_id, **self.body(Ticks), now=clock.now())
        return _progress(self, rider_id)


def _seen(endpoint: Endpoint, lesson_id: int) -> Lesson:
    lessons = Lesson.objects.visible_to(endpoint.request.actor).select_related("course__station")
    lesson = lessons.filter(pk=lesson_id).first()
    if lesson is None:
        raise NotVisible("There is no such lesson here.")
    endpoint.on_clock_of(lesson.course.station)
    return lesson


def _whole(endpoint: Endpoint, lesson_id: int, status: int = HTTPStatus.OK) -> Response:
    """Answer with a lesson as it stands: four queries."""
    lesson = _seen(endpoint, lesson_id)
    (row,) = queries.rows_of([lesson], lesson.course.station)
    return endpoint.say(LessonWhole, row, status)


def _progress(endpoint: Endpoint, rider_id: int) -> Response:
    """Answer with what a rider can do: two queries."""
    rider = Rider.objects.visible_to(endpoint.request.actor).filter(pk=rider_id).first()
    if rider is None:
        raise NotVisible("There is no such rider here.")
    seen = queries.skills_seen([rider.pk])[rider.pk]
    said: dict[str, Any] = {
        "rider_id": rider.pk,
        "level": rider.level,
        "skills": [{"key": key, "text": text, "seen": key in seen} for key, text in skills.TEXTS.items()],
    }
    return endpoint.say(ProgressShape, said)
