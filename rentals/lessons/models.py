"""Courses and their lessons, seats, instructors with papers and duties, what students can do, and feeds."""

from datetime import date, datetime, timedelta

from django.db import models
from django.db.models import F, Q

from rentals.bookings.models import Outing, Party
from rentals.lessons.states import LessonState
from rentals.lib.access import Actor
from rentals.lib.rules import MAX_SPAN_DAYS
from rentals.people.models import Rider, User
from rentals.stations.models import LEVELS, Station

MOST_SEATS = 30
LONGEST_LESSON = timedelta(hours=8)
LONGEST_SHIFT = timedelta(hours=14)
LONGEST_ABSENCE = timedelta(days=400)
WIND_MS = (0, 20)
RATIO = (1, 12)
AGE_YEARS = (3, 99)
LANGUAGES = (
    ("en", "English"),
    ("de", "German"),
    ("es", "Spanish"),
    ("fr", "French"),
    ("it", "Italian"),
    ("nl", "Dutch"),
    ("pt", "Portuguese"),
)
LEVEL_NAMES = [level for level, _ in LEVELS]


class Course(models.Model):
    """What is taught in one lesson or a row of them: level, seats, ratio, beach wind and language."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    name = models.CharField(max_length=80)
    about = models.CharField(max_length=300, blank=True)
    level = models.CharField(max_length=12, choices=LEVELS)
    seats = models.PositiveSmallIntegerField()
    riders_to_one = models.FloatField()
    children_to_one = models.FloatField()
    youngest_years = models.PositiveSmallIntegerField()
    low_ms = models.FloatField()
    high_ms = models.FloatField()
    language = models.CharField(max_length=8)
    sold_whole = models.BooleanField(default=False)

    class Meta:
        constraints = (
            models.CheckConstraint(name="course_level", condition=Q(level__in=LEVEL_NAMES)),
            models.CheckConstraint(name="course_seats", condition=Q(seats__range=(1, MOST_SEATS))),
            models.CheckConstraint(
                name="course_ratio",
                condition=Q(riders_to_one__range=RATIO, children_to_one__range=RATIO),
            ),
            models.CheckConstraint(name="course_youngest", condition=Q(youngest_years__range=AGE_YEARS)),
            models.CheckConstraint(
                name="course_wind",
                condition=Q(low_ms__gte=WIND_MS[0], high_ms__gt=F("low_ms"), high_ms__lte=WIND_MS[1]),
            ),
        )

    def __str__(self) -> str:
        return self.name

    @property
    def language_name(self) -> str:
        """The language in a word."""
        return dict(LANGUAGES).get(self.language, self.language)


class LessonQuerySet(models.QuerySet["Lesson"]):
    """Reading lessons."""

    def visible_to(self, actor: Actor) -> "LessonQuerySet":
        """Lessons at the actor's stations."""
        return self.filter(course__station_id__in=actor.station_ids)

    def between(self, start: datetime, end: datetime) -> "LessonQuerySet":
        """Lessons that start in the half-open span, by time."""
        return self.filter(starts_at__gte=start, starts_at__lt=end).order_by("starts_at", "id")

    def planned(self) -> "LessonQuerySet":
        """Lessons that are not called off."""
        return self.filter(state=LessonState.PLANNED)


class Lesson(models.Model):
    """One lesson of a course. `moves` counts how often it was moved; calendars number their changes by it."""

    course = models.ForeignKey(Course, models.PROTECT, related_name="lessons")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    state = models.CharField(
        max_length=10,
        choices=[(state.value, state.value) for state in LessonState],
        default=LessonState.PLANNED,
    )
    moves = models.PositiveSmallIntegerField(default=0)
    changed_at = models.DateTimeField()
    why = models.CharField(max_length=300, blank=True)

    objects = LessonQuerySet.as_manager()

    class Meta:
        indexes = (
            models.Index(fields=["starts_at"], name="lesson_by_start"),
            models.Index(fields=["course", "starts_at"], name="lesson_by_course"),
        )
        constraints = (
            models.CheckConstraint(
                name="lesson_state", condition=Q(state__in=[state.value for state in LessonState])
            ),
            models.CheckConstraint(
                name="lesson_span",
                condition=Q(ends_at__gt=F("starts_at"), ends_at__lte=F("starts_at") + LONGEST_LESSON),
            ),
            models.CheckConstraint(name="lesson_cancelled_says_why", condition=~Q(state="cancelled", why="")),
        )

    def __str__(self) -> str:
        return f"lesson {self.pk}"

    @property
    def spares(self) -> str:
        """What holds of its spare rigs are for."""
        return f"spare for lesson {self.pk}"


class SeatQuerySet(models.QuerySet["Seat"]):
    """Reading seats."""

    def taken(self) -> "SeatQuerySet":
        """Seats of students who come: not let go, and the outing neither cancelled nor missed."""
        return self.filter(live=True).exclude(outing__state__in=("cancelled", "no_show"))


class Seat(models.Model):
    """One student's place in a lesson, and the outing that was booked for it."""

    lesson = models.ForeignKey(Lesson, models.PROTECT, related_name="seats")
    number = models.PositiveSmallIntegerField()
    outing = models.OneToOneField(Outing, models.PROTECT, related_name="+")
    live = models.BooleanField(default=True)
    language = models.CharField(max_length=8, blank=True)
    group_no = models.PositiveSmallIntegerField(null=True)
    taken_at = models.DateTimeField()

    objects = SeatQuerySet.as_manager()

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["lesson", "number"], condition=Q(live=True), name="seat_taken_once"
            ),
            models.CheckConstraint(name="seat_number", condition=Q(number__gte=1)),
            models.CheckConstraint(
                name="seat_group", condition=Q(group_no=None) | Q(group_no__range=(1, MOST_SEATS))
            ),
        )

    def __str__(self) -> str:
        return f"seat {self.number} of lesson {self.lesson_id}"


class QualificationQuerySet(models.QuerySet["Qualification"]):
    """Reading papers."""

    def valid_on(self, day: date) -> "QualificationQuerySet":
        """Papers that count on a day, the last day included."""
        return self.filter(Q(until=None) | Q(until__gte=day), since__lte=day)


class Qualification(models.Model):
    """A paper of somebody who works here, as a station has seen it; teaching papers count up to a level."""

    class Kind(models.TextChoices):
        """What it allows."""

        TEACH = "teach", "Teaching"
        BOAT = "boat", "Safety boat"
        FIRST_AID = "first_aid", "First aid"
        LIFEGUARD = "lifeguard", "Lifeguard"

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    user = models.ForeignKey(User, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    level = models.CharField(max_length=12, choices=LEVELS, blank=True)
    paper = models.CharField(max_length=80)
    since = models.DateField()
    until = models.DateField(null=True)
    seen_at = models.DateTimeField()
    seen_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    objects = QualificationQuerySet.as_manager()

    class Meta:
        constraints = (
            models.CheckConstraint(
                name="qualification_kind", condition=Q(kind__in=["teach", "boat", "first_aid", "lifeguard"])
            ),
            models.CheckConstraint(
                name="qualification_level",
                condition=Q(kind="teach", level__in=LEVEL_NAMES) | (~Q(kind="teach") & Q(level="")),
            ),
            models.CheckConstraint(
                name="qualification_span", condition=Q(until=None) | Q(until__gte=F("since"))
            ),
        )

    def __str__(self) -> str:
        return f"{self.paper} of {self.user_id}"


class Duty(models.TextChoices):
    """What somebody is there for."""

    TEACH = "teach", "Teaching"
    BOAT = "boat", "Safety boat"


class SpanQuerySet(models.QuerySet["Shift"]):
    """Reading what has a bounded span."""

    def meeting(self, start: datetime, end: datetime) -> "SpanQuerySet":
        """Live ones that meet the half-open span; their bounded length bounds the look back."""
        return self.filter(
            live=True,
            starts_at__lt=end,
            ends_at__gt=start,
            starts_at__gt=start - timedelta(days=MAX_SPAN_DAYS),
        )


class Shift(models.Model):
    """Somebody's time on the roster of a station. The database refuses two of one person that meet."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    user = models.ForeignKey(User, models.PROTECT, related_name="+")
    duty = models.CharField(max_length=5, choices=Duty.choices)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    live = models.BooleanField(default=True)
    made_at = models.DateTimeField()

    objects = SpanQuerySet.as_manager()

    class Meta:
        indexes = (models.Index(fields=["station", "starts_at"], name="shift_by_day"),)
        constraints = (
            models.CheckConstraint(name="shift_duty", condition=Q(duty__in=Duty.values)),
            models.CheckConstraint(
                name="shift_span",
                condition=Q(ends_at__gt=F("starts_at"), ends_at__lte=F("starts_at") + LONGEST_SHIFT),
            ),
        )

    def __str__(self) -> str:
        return f"{self.user_id} {self.starts_at:%Y-%m-%d %H:%M}"


class Absence(models.Model):
    """When somebody is away. Nobody is put on the roster or into a lesson then."""

    class Why(models.TextChoices):
        """The kind of absence; no more is kept of why."""

        AWAY = "away", "Away"
        ILL = "ill", "Ill"
        TRAINING = "training", "Training"

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    user = models.ForeignKey(User, models.PROTECT, related_name="+")
    why = models.CharField(max_length=10, choices=Why.choices)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    live = models.BooleanField(default=True)

    class Meta:
        indexes = (models.Index(fields=["user", "ends_at"], name="absence_by_user"),)
        constraints = (
            models.CheckConstraint(name="absence_why", condition=Q(why__in=["away", "ill", "training"])),
            models.CheckConstraint(
                name="absence_span",
                condition=Q(ends_at__gt=F("starts_at"), ends_at__lte=F("starts_at") + LONGEST_ABSENCE),
            ),
        )

    def __str__(self) -> str:
        return f"{self.user_id} away from {self.starts_at:%Y-%m-%d %H:%M}"


class Assignment(models.Model):
    """Who teaches a lesson or mans its boat, over the lesson's span. One person has one lesson at a time."""

    lesson = models.ForeignKey(Lesson, models.PROTECT, related_name="assignments")
    user = models.ForeignKey(User, models.PROTECT, related_name="+")
    duty = models.CharField(max_length=5, choices=Duty.choices)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    live = models.BooleanField(default=True)

    class Meta:
        indexes = (models.Index(fields=["user", "starts_at"], name="assignment_by_user"),)
        constraints = (
            models.CheckConstraint(name="assignment_duty", condition=Q(duty__in=Duty.values)),
            models.CheckConstraint(
                name="assignment_span",
                condition=Q(ends_at__gt=F("starts_at"), ends_at__lte=F("starts_at") + LONGEST_LESSON),
            ),
        )

    def __str__(self) -> str:
        return f"{self.user_id} in lesson {self.lesson_id}"


class Progress(models.Model):
    """A skill as an instructor saw it, or its taking back. Never changed."""

    rider = models.ForeignKey(Rider, models.PROTECT, related_name="+")
    skill = models.CharField(max_length=40)
    seen = models.BooleanField()
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    lesson = models.ForeignKey(Lesson, models.PROTECT, null=True, related_name="+")

    class Meta:
        indexes = (models.Index(fields=["rider", "skill", "id"], name="progress_by_rider"),)

    def __str__(self) -> str:
        return f"{self.skill} of {self.rider_id}"


class LevelWord(models.Model):
    """An instructor's word that a rider is of another level now. Never changed."""

    rider = models.ForeignKey(Rider, models.PROTECT, related_name="+")
    old = models.CharField(max_length=12, choices=LEVELS)
    new = models.CharField(max_length=12, choices=LEVELS)
    why = models.CharField(max_length=300)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    lesson = models.ForeignKey(Lesson, models.PROTECT, null=True, related_name="+")

    class Meta:
        indexes = (models.Index(fields=["rider", "id"], name="level_word_by_rider"),)
        constraints = (
            models.CheckConstraint(
                name="level_word_levels", condition=Q(old__in=LEVEL_NAMES, new__in=LEVEL_NAMES)
            ),
            models.CheckConstraint(name="level_word_changes", condition=~Q(old=F("new"))),
            models.CheckConstraint(name="level_word_says_why", condition=~Q(why="")),
        )

    def __str__(self) -> str:
        return f"{self.rider_id}: {self.old} to {self.new}"


class NoticeQuerySet(models.QuerySet["Notice"]):
    """Reading what parties are to be told."""

    def to_write(self, since: datetime) -> "NoticeQuerySet":
        """Notices of parties with an address, the last of each lesson and party, oldest first.

        Who has taken seats in another lesson since is not told of the first.
        """
        newer = Notice.objects.filter(
            lesson=models.OuterRef("lesson"),
            party=models.OuterRef("party"),
            change_no__gt=models.OuterRef("change_no"),
        )
        seats = Seat.objects.filter(
            lesson=models.OuterRef("lesson"), outing__booking__party=models.OuterRef("party")
        )
        known = self.filter(models.Exists(seats), ~models.Exists(newer), by_letter=True, made_at__gt=since)
        return known.exclude(party__contact_email="").order_by("id")


class Notice(models.Model):
    """What a party is to be told about a lesson: by letter where there is an address, else by phone."""

    lesson = models.ForeignKey(Lesson, models.PROTECT, related_name="+")
    party = models.ForeignKey(Party, models.PROTECT, related_name="+")
    change_no = models.PositiveSmallIntegerField()
    text = models.CharField(max_length=500)
    by_letter = models.BooleanField()
    made_at = models.DateTimeField()
    told_at = models.DateTimeField(null=True)
    told_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    objects = NoticeQuerySet.as_manager()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["lesson", "party", "change_no"], name="notice_once"),
            models.CheckConstraint(
                name="notice_told_is_signed",
                condition=Q(told_at=None, told_by=None) | Q(told_at__isnull=False, told_by__isnull=False),
            ),
        )

    def __str__(self) -> str:
        return f"notice of lesson {self.lesson_id} to {self.party_id}"


class Feed(models.Model):
    """A calendar at a secret address: of one instructor, or of the whole station. Only the digest is kept."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    user = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    revoked_at = models.DateTimeField(null=True)

    class Meta:
        indexes = (models.Index(fields=["station"], name="feed_by_station"),)
        constraints = (
            models.UniqueConstraint(
                fields=["station", "user"],
                condition=Q(revoked_at=None, user__isnull=False),
                name="one_live_feed_of_a_person",
            ),
            models.UniqueConstraint(
                fields=["station"],
                condition=Q(revoked_at=None, user=None),
                name="one_live_feed_of_a_station",
            ),
            models.CheckConstraint(
                name="feed_revoked_later", condition=Q(revoked_at=None) | Q(revoked_at__gte=F("made_at"))
            ),
        )

    def __str__(self) -> str:
        return f"feed {self.pk}"
