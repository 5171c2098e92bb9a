"""Return checks, bench jobs, wear of outings and rigs, and inspections with their intervals."""

from django.db import models
from django.db.models import F, Q

from rentals.bench.states import GRACE_DAYS, OCCASIONS, JobState
from rentals.bookings.models import Outing
from rentals.fleet.models import Item, ItemModel, Kind, Rig
from rentals.people.models import User
from rentals.stations.models import Station

MOST_WATER_S = 2 * 24 * 60 * 60
MOST_GRACE_DAYS = 30
MOST_CARRIED_KG = 60
MOST_MINUTES = 6000
MOST_COST = 99_999
MOST_PHOTO_BYTES = 2 * 2**20


class ReturnCheck(models.Model):
    """A logged check after coming back. A second one follows when something came back later.

    `at` is when it came; `ticked_at` when it was ticked, where a device kept it until it was online.
    """

    outing = models.ForeignKey(Outing, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    ticked_at = models.DateTimeField(null=True)
    list_version = models.PositiveSmallIntegerField(null=True)
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


class JobLine(models.Model):
    """One line of work on a job: diagnosis, work, parts or an outside workshop, with minutes and cost."""

    class Kind(models.TextChoices):
        """What a line tells."""

        DIAGNOSIS = "diagnosis", "Diagnosis"
        WORK = "work", "Work"
        PARTS = "parts", "Parts"
        WORKSHOP = "workshop", "Outside workshop"

    job = models.ForeignKey(Job, models.PROTECT, related_name="lines")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    text = models.CharField(max_length=300)
    minutes = models.PositiveSmallIntegerField(null=True)
    cost = models.DecimalField(max_digits=8, decimal_places=2, null=True)
    currency = models.CharField(max_length=3, blank=True)
    due_on = models.DateField(null=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                name="job_line_kind", condition=Q(kind__in=["diagnosis", "work", "parts", "workshop"])
            ),
            models.CheckConstraint(name="job_line_says_what", condition=~Q(text="")),
            models.CheckConstraint(
                name="job_line_minutes", condition=Q(minutes=None) | Q(minutes__lte=MOST_MINUTES)
            ),
            models.CheckConstraint(
                name="job_line_cost",
                condition=Q(cost=None, currency="")
                | (Q(cost__isnull=False, cost__range=(0, MOST_COST)) & Q(currency__regex=r"^[A-Z]{3}$")),
            ),
            models.CheckConstraint(
                name="job_line_workshop_due",
                condition=Q(kind="workshop", due_on__isnull=False) | (~Q(kind="workshop") & Q(due_on=None)),
            ),
        )

    def __str__(self) -> str:
        return f"{self.kind}: {self.text}"


class Photo(models.Model):
    """A photo of a fault as a JPEG of ours. It lies beside its job, so that a backup of rows holds it."""

    job = models.ForeignKey(Job, models.PROTECT, related_name="photos")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    content = models.BinaryField(max_length=MOST_PHOTO_BYTES)
    width = models.PositiveSmallIntegerField()
    height = models.PositiveSmallIntegerField()

    class Meta:
        constraints = (models.CheckConstraint(name="photo_size", condition=Q(width__gt=0, height__gt=0)),)

    def __str__(self) -> str:
        return f"photo {self.pk} of job {self.job_id}"


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


class Setting(models.Model):
    """What a station has settled about its bench; without a row the defaults hold."""

    class Releaser(models.TextChoices):
        """The role that releases what was held back."""

        INSTRUCTOR = "instructor", "instructor or manager"
        MANAGER = "manager", "manager"

    station = models.OneToOneField(Station, models.PROTECT, primary_key=True, related_name="+")
    grace_days = models.PositiveSmallIntegerField(default=GRACE_DAYS)
    released_by = models.CharField(max_length=10, choices=Releaser.choices, default=Releaser.INSTRUCTOR)

    class Meta:
        constraints = (
            models.CheckConstraint(name="bench_grace", condition=Q(grace_days__lte=MOST_GRACE_DAYS)),
            models.CheckConstraint(
                name="bench_released_by", condition=Q(released_by__in=["instructor", "manager"])
            ),
        )

    def __str__(self) -> str:
        return f"bench of {self.station_id}"


class Interval(models.Model):
    """A station's own intervals of an inspection, for a kind or for one model, in place of the usual ones."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    model = models.ForeignKey(ItemModel, models.PROTECT, null=True, related_name="+")
    name = models.CharField(max_length=80)
    every_hours = models.FloatField(null=True)
    every_rig_ups = models.FloatField(null=True)
    every_sun_hours = models.FloatField(null=True)
    every_days = models.FloatField(null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["station", "kind", "name"], condition=Q(model=None), name="interval_once_per_kind"
            ),
            models.UniqueConstraint(fields=["station", "model", "name"], name="interval_once_per_model"),
            models.CheckConstraint(name="interval_kind", condition=Q(kind__in=Kind.values)),
            models.CheckConstraint(
                name="interval_says_one",
                condition=~Q(every_hours=None, every_rig_ups=None, every_sun_hours=None, every_days=None),
            ),
            *(
                models.CheckConstraint(
                    name=f"interval_{name}",
                    condition=Q(**{name: None}) | Q(**{f"{name}__range": (1, 10_000)}),
                )
                for name in ("every_hours", "every_rig_ups", "every_sun_hours", "every_days")
            ),
        )

    def __str__(self) -> str:
        return f"{self.name} of {self.model or self.kind}"


class Inspection(models.Model):
    """One inspection of one item: what was looked at, by whom, what was found, and when the next is due.

    The item's counters stand beside it, so that what it gathers afterwards can be told.
    """

    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    name = models.CharField(max_length=80)
    occasion = models.CharField(max_length=10, choices=[(each, each) for each in OCCASIONS])
    passed = models.BooleanField()
    points = models.JSONField()
    defects = models.CharField(max_length=300, blank=True)
    carried_kg = models.FloatField(null=True)
    note = models.CharField(max_length=300, blank=True)
    weighted_s = models.PositiveBigIntegerField()
    rig_ups = models.PositiveIntegerField()
    sun_s = models.PositiveBigIntegerField()
    next_due = models.DateField(null=True)

    class Meta:
        indexes = (models.Index(fields=["item", "name", "at"], name="inspection_by_item"),)
        constraints = (
            models.CheckConstraint(
                name="inspection_occasion",
                condition=Q(occasion__in=OCCASIONS),
            ),
            models.CheckConstraint(
                name="inspection_failed_says_why", condition=Q(passed=True) | ~Q(defects="")
            ),
            models.CheckConstraint(
                name="inspection_carried",
                condition=Q(carried_kg=None) | Q(carried_kg__range=(0, MOST_CARRIED_KG)),
            ),
        )

    def __str__(self) -> str:
        return f"{self.name} of {self.item_id}: {'passed' if self.passed else 'failed'}"


class KitRecall(models.Model):
    """A model of kit, or one batch of it, called back: why, by whom, and when and why it ended."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    model = models.ForeignKey(ItemModel, models.PROTECT, related_name="+")
    batch = models.CharField(max_length=40, blank=True)
    reason = models.CharField(max_length=300)
    maker = models.CharField(max_length=120, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    ended_because = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = (
            models.CheckConstraint(name="kit_recall_says_why", condition=~Q(reason="")),
            models.CheckConstraint(
                name="kit_recall_ended_because",
                condition=Q(ended_at=None, ended_by=None, ended_because="")
                | (Q(ended_at__isnull=False, ended_at__gte=F("at")) & ~Q(ended_because="")),
            ),
        )
        indexes = (models.Index(fields=["station", "at"], name="kit_recall_by_station"),)

    def __str__(self) -> str:
        return f"{self.model}{f', batch {self.batch}' if self.batch else ''}"

    @property
    def subject(self) -> str:
        """How what it holds back names it."""
        return f"recall {self.pk}"
