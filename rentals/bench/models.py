"""Return checks and their lines, bench jobs, and the wear that outings and rigs put on items."""

from django.db import models
from django.db.models import F, Q

from rentals.bench.states import JobState
from rentals.bookings.models import Outing
from rentals.fleet.models import Item, Rig
from rentals.people.models import User

MOST_WATER_S = 2 * 24 * 60 * 60


class ReturnCheck(models.Model):
    """A logged check after coming back. A second one follows when something came back later."""

    outing = models.ForeignKey(Outing, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    felt = models.CharField(max_length=8, blank=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = (
            models.CheckConstraint(name="return_felt", condition=Q(felt__in=["", "under", "right", "over"])),
        )

    def __str__(self) -> str:
        return f"return check of outing {self.outing_id}"


class ReturnLine(models.Model):
    """How one item came back."""

    check_made = models.ForeignKey(ReturnCheck, models.PROTECT, related_name="lines")
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    back = models.BooleanField()
    rinsed = models.BooleanField(default=False)
    fault = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = (models.UniqueConstraint(fields=["check_made", "item"], name="return_line_once"),)

    def __str__(self) -> str:
        return f"{self.item_id} {'back' if self.back else 'missing'}"


class Job(models.Model):
    """One fault of one item, from report to release."""

    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    fault = models.CharField(max_length=300)
    state = models.CharField(
        max_length=10, choices=[(state.value, state.value) for state in JobState], default=JobState.OPEN
    )
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    outing = models.ForeignKey(Outing, models.PROTECT, null=True, related_name="+")
    work = models.CharField(max_length=300, blank=True)
    minutes = models.PositiveSmallIntegerField(null=True)
    mended_at = models.DateTimeField(null=True)
    mended_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    finished_at = models.DateTimeField(null=True)
    finished_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        indexes = (
            models.Index(fields=["item"], name="job_by_item"),
            models.Index(
                fields=["opened_at"], name="job_unfinished", condition=Q(state__in=["open", "mended"])
            ),
        )
        constraints = (
            models.CheckConstraint(
                name="job_state", condition=Q(state__in=[state.value for state in JobState])
            ),
            models.CheckConstraint(
                name="job_mended_says_how",
                condition=~Q(state__in=["mended", "released"]) | (~Q(work="") & Q(mended_at__isnull=False)),
            ),
            models.CheckConstraint(
                name="job_finished_has_a_time",
                condition=~Q(state__in=["released", "withdrawn"]) | Q(finished_at__isnull=False),
            ),
        )

    def __str__(self) -> str:
        return f"{self.item_id}: {self.fault}"


class WearPosting(models.Model):
    """The water time that one outing put on one item; the pair is unique, so posting twice cannot be.

    `weighted_s` counts each hour by its wind (`rigging.wear.wind_weight`), `wind_ms` is the mean at 10 m
    where it is known, `salt` says in which water. A rule of the database refuses new rows without weight
    and water; rows from before winds were weighed have none.
    """

    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    outing = models.ForeignKey(Outing, models.PROTECT, related_name="+")
    water_s = models.PositiveIntegerField()
    weighted_s = models.PositiveIntegerField(null=True)
    wind_ms = models.FloatField(null=True)
    salt = models.BooleanField(null=True)
    posted_at = models.DateTimeField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["outing", "item"], name="wear_once"),
            models.CheckConstraint(name="wear_within_two_days", condition=Q(water_s__lte=MOST_WATER_S)),
        )
        indexes = (models.Index(fields=["item"], name="wear_by_item"),)

    def __str__(self) -> str:
        return f"{self.item_id} {self.water_s} s"


class RigWear(models.Model):
    """The daylight in which one item of a rig stood built over a span; the first span counts the rig-up."""

    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    rig = models.ForeignKey(Rig, models.PROTECT, related_name="+")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    sun_s = models.PositiveIntegerField()
    rig_ups = models.PositiveSmallIntegerField()
    posted_at = models.DateTimeField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["rig", "item", "starts_at"], name="rig_wear_once"),
            models.UniqueConstraint(
                fields=["rig", "item"], condition=Q(rig_ups=1), name="rig_up_counted_once"
            ),
            models.CheckConstraint(name="rig_wear_span", condition=Q(ends_at__gte=F("starts_at"))),
            models.CheckConstraint(name="rig_wear_rig_ups", condition=Q(rig_ups__lte=1)),
        )
        indexes = (
            models.Index(fields=["item"], name="rig_wear_by_item"),
            models.Index(fields=["rig", "ends_at"], name="rig_wear_by_rig"),
        )

    def __str__(self) -> str:
        return f"{self.item_id} {self.sun_s} s of sun"


class Meter(models.Model):
    """What an item has gathered beside its water time and rig-ups: the sums of its postings."""

    item = models.OneToOneField(Item, models.PROTECT, primary_key=True, related_name="+")
    weighted_s = models.PositiveBigIntegerField(default=0)
    salt_s = models.PositiveBigIntegerField(default=0)
    sun_s = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.item_id}: {self.weighted_s} s weighted"
