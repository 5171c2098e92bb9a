"""Plans of a day with what came of them, the rigs the crew ticks off, studies of what the shed lacks."""

from datetime import date, datetime

from django.db import models
from django.db.models import F, Q

from rentals.dayplan.states import SOLVED, STUDY_UNDER_WAY, UNDER_WAY, PlanState, StudyState
from rentals.fleet.models import Item
from rentals.fleet.states import AT_HAND, ItemState
from rentals.lib.access import Actor
from rentals.people.models import User
from rentals.stations.models import Station

HANDS = (1, 20)
RIG_MIN = (5, 60)
LEAD_MIN = (15, 240)
"""Least and most of a crew's people, of its minutes for a rig, and of its minutes before a start."""


class PlanQuerySet(models.QuerySet["Plan"]):
    """Reading plans."""

    def visible_to(self, actor: Actor) -> "PlanQuerySet":
        """Plans of the actor's stations."""
        return self.filter(station_id__in=actor.station_ids)

    def of_day(self, station: Station, day: date) -> "PlanQuerySet":
        """Plans of a station's day, newest first."""
        return self.filter(station=station, day=day).order_by("-number")

    def to_solve(self, stale_before: datetime) -> "PlanQuerySet":
        """Plans that wait, and those whose worker has not been heard of since; oldest first."""
        silent = Q(state=PlanState.SOLVING, heartbeat_at__lt=stale_before)
        return self.filter(Q(state=PlanState.WAITING) | silent).order_by("asked_at", "id")


class Plan(models.Model):
    """One plan of a station's day: the instance as it was asked, the result as it was proven.

    `inputs` and `result` are the JSON forms of `rigging.allot`; demands are named by the outing's id.
    `aside` lists outings that were not put into the plan and why, `changes` whom its acceptance must be told.
    """

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    day = models.DateField()
    number = models.PositiveIntegerField()
    state = models.CharField(
        max_length=10, choices=[(state.value, state.value) for state in PlanState], default=PlanState.WAITING
    )
    basis = models.ForeignKey("self", models.PROTECT, null=True, related_name="+")
    note = models.CharField(max_length=300, blank=True)
    inputs = models.JSONField()
    formulas = models.CharField(max_length=20)
    aside = models.JSONField(default=list)
    made_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    asked_at = models.DateTimeField()

    tries = models.PositiveSmallIntegerField(default=0)
    heartbeat_at = models.DateTimeField(null=True)
    progress = models.PositiveSmallIntegerField(default=0)
    words = models.CharField(max_length=300, blank=True)

    result = models.JSONField(null=True)
    solved_at = models.DateTimeField(null=True)
    seconds = models.FloatField(null=True)
    objective = models.FloatField(null=True)
    bound = models.FloatField(null=True)
    gap = models.FloatField(null=True)
    proven = models.BooleanField(null=True)
    served = models.PositiveIntegerField(null=True)
    unserved = models.PositiveIntegerField(null=True)

    accepted_at = models.DateTimeField(null=True)
    accepted_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    changes = models.JSONField(default=list)

    objects = PlanQuerySet.as_manager()

    class Meta:
        indexes = (
            models.Index(
                fields=["asked_at"],
                name="plan_to_solve",
                condition=Q(state__in=[state.value for state in UNDER_WAY]),
            ),
        )
        constraints = (
            models.CheckConstraint(
                name="plan_state", condition=Q(state__in=[state.value for state in PlanState])
            ),
            models.UniqueConstraint(fields=["station", "day", "number"], name="plan_number_once"),
            models.UniqueConstraint(
                fields=["station", "day"], condition=Q(state="accepted"), name="one_plan_accepted"
            ),
            models.UniqueConstraint(
                fields=["station", "day"],
                condition=Q(state__in=[state.value for state in UNDER_WAY]),
                name="one_plan_under_way",
            ),
            models.CheckConstraint(name="plan_progress", condition=Q(progress__lte=100)),
            models.CheckConstraint(
                name="plan_solved_has_result",
                condition=~Q(state__in=[state.value for state in SOLVED])
                | Q(result__isnull=False, solved_at__isnull=False, proven__isnull=False),
            ),
            models.CheckConstraint(
                name="plan_accepted_has_a_time",
                condition=~Q(state="accepted") | Q(accepted_at__isnull=False),
            ),
        )

    def __str__(self) -> str:
        return f"plan {self.number} of {self.day}"


class RigTask(models.Model):
    """One rig of an accepted plan, in the crew's order: its parts, when it is due, who ticked it off."""

    plan = models.ForeignKey(Plan, models.PROTECT, related_name="+")
    place = models.PositiveIntegerField()
    sail = models.ForeignKey(Item, models.PROTECT, related_name="+")
    mast = models.ForeignKey(Item, models.PROTECT, related_name="+")
    boom = models.ForeignKey(Item, models.PROTECT, related_name="+")
    extension = models.ForeignKey(Item, models.PROTECT, related_name="+")
    base = models.ForeignKey(Item, models.PROTECT, related_name="+")
    starts_at = models.DateTimeField()
    due_at = models.DateTimeField()
    needed_at = models.DateTimeField()
    ticked_at = models.DateTimeField(null=True)
    ticked_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["plan", "place"], name="rig_task_place_once"),
            models.CheckConstraint(name="rig_task_span", condition=Q(due_at__gt=F("starts_at"))),
            models.CheckConstraint(
                name="rig_task_tick_is_signed",
                condition=Q(ticked_at=None, ticked_by=None)
                | Q(ticked_at__isnull=False, ticked_by__isnull=False),
            ),
        )

    def __str__(self) -> str:
        return f"rig {self.place} of plan {self.plan_id}"

    @property
    def items(self) -> tuple[Item, ...]:
        """Its parts in the order of `RIG_PARTS`."""
        return (self.sail, self.mast, self.boom, self.extension, self.base)

    @property
    def waits_for(self) -> tuple[Item, ...]:
        """Parts that cannot be rigged now: with a rider, held back or on the bench."""
        return tuple(item for item in self.items if item.state not in AT_HAND)

    @property
    def is_out(self) -> tuple[Item, ...]:
        """Parts that a rider has: the rig was built."""
        return tuple(item for item in self.items if item.state == ItemState.ISSUED)


class Crew(models.Model):
    """Who builds rigs at a station: people at once, minutes one takes for a rig, minutes before a start."""

    station = models.OneToOneField(Station, models.PROTECT, related_name="+")
    hands = models.PositiveSmallIntegerField()
    rig_min = models.PositiveSmallIntegerField()
    lead_min = models.PositiveSmallIntegerField()

    class Meta:
        constraints = (
            models.CheckConstraint(name="crew_hands", condition=Q(hands__range=HANDS)),
            models.CheckConstraint(name="crew_rig_min", condition=Q(rig_min__range=RIG_MIN)),
            models.CheckConstraint(
                name="crew_lead_min", condition=Q(lead_min__range=LEAD_MIN, lead_min__gte=F("rig_min"))
            ),
        )

    def __str__(self) -> str:
        return f"crew of {self.station_id}"


class StudyQuerySet(models.QuerySet["Study"]):
    """Reading studies."""

    def visible_to(self, actor: Actor) -> "StudyQuerySet":
        """Studies of the actor's stations."""
        return self.filter(station_id__in=actor.station_ids)

    def to_do(self, stale_before: datetime) -> "StudyQuerySet":
        """Studies that nobody is at, or whose worker has not been heard of since; oldest first."""
        free = Q(taken_at=None) | Q(taken_at__lt=stale_before)
        return self.filter(free, state__in=STUDY_UNDER_WAY).order_by("asked_at", "id")


class Study(models.Model):
    """What the shed lacked over a span of days, reckoned from the plans that were asked for them.

    `days` names the plan looked at by day; `looks` and `gains` are the steps of `rigging.allot.lacks` done
    so far, so that a worker who dies loses a slice and not the study; `result` is their sum.
    """

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    first_day = models.DateField()
    last_day = models.DateField()
    state = models.CharField(
        max_length=10,
        choices=[(state.value, state.value) for state in StudyState],
        default=StudyState.WAITING,
    )
    made_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    asked_at = models.DateTimeField()
    days = models.JSONField()
    looks = models.JSONField(default=dict)
    gains = models.JSONField(default=dict)
    taken_at = models.DateTimeField(null=True)
    turn = models.PositiveIntegerField(default=0)
    deaths = models.PositiveSmallIntegerField(default=0)
    progress = models.PositiveSmallIntegerField(default=0)
    words = models.CharField(max_length=300, blank=True)
    result = models.JSONField(null=True)
    done_at = models.DateTimeField(null=True)

    objects = StudyQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "studies"
        indexes = (models.Index(fields=["station", "-asked_at"], name="study_newest"),)
        constraints = (
            models.CheckConstraint(
                name="study_state", condition=Q(state__in=[state.value for state in StudyState])
            ),
            models.CheckConstraint(name="study_span", condition=Q(last_day__gte=F("first_day"))),
            models.CheckConstraint(name="study_progress", condition=Q(progress__lte=100)),
            models.CheckConstraint(
                name="study_ready_has_result",
                condition=~Q(state="ready") | Q(result__isnull=False, done_at__isnull=False),
            ),
            models.UniqueConstraint(
                fields=["station"],
                condition=Q(state__in=[state.value for state in STUDY_UNDER_WAY]),
                name="one_study_under_way",
            ),
        )

    def __str__(self) -> str:
        return f"study of {self.first_day} to {self.last_day}"
