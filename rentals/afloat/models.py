"""The beach log, launch checks as logged, sightings and recalls, and each overdue phase as it was raised."""

from django.db import models
from django.db.models import Q

from rentals.bookings.models import Outing
from rentals.people.models import User
from rentals.stations.models import Station

WATER_C = (-3, 45)
MOST_INSTRUCTORS = 50
PHASES = ("uncertainty", "alert", "distress")
MOST_CONTACTS = 6
FURTHEST_M = 20_000
MOST_HEADS = 500


class BeachLog(models.Model):
    """How the beach stood at a moment, as staff logged it; the newest line of the day counts."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    safety_boat_manned = models.BooleanField()
    instructors = models.PositiveSmallIntegerField()
    water_c = models.FloatField(null=True)
    lightning = models.BooleanField()

    class Meta:
        indexes = (models.Index(fields=["station", "-at"], name="beach_log_newest"),)
        constraints = (
            models.CheckConstraint(
                name="beach_log_water", condition=Q(water_c=None) | Q(water_c__range=WATER_C)
            ),
        )

    def __str__(self) -> str:
        return f"beach log {self.at:%Y-%m-%d %H:%M}"


class LogCorrection(models.Model):
    """Somebody's word that the lightning of a beach log was entered by mistake; the line itself stays."""

    log = models.OneToOneField(BeachLog, models.PROTECT, related_name="correction")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    reason = models.CharField(max_length=200)

    def __str__(self) -> str:
        return f"correction of {self.log_id}"


class LaunchCheck(models.Model):
    """One look over rider, rig and conditions before launch, with the wording it was made against.

    `at` is when it came; `ticked_at` when it was ticked, where a device kept it until it was online.
    """

    outing = models.ForeignKey(Outing, models.PROTECT, related_name="+")
    kit_no = models.PositiveIntegerField()
    at = models.DateTimeField()
    ticked_at = models.DateTimeField(null=True)
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    passed = models.BooleanField()
    points = models.JSONField()
    gates = models.JSONField()
    overrides = models.JSONField(default=dict)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        indexes = (models.Index(fields=["outing", "kit_no"], name="launch_check_by_kit"),)

    def __str__(self) -> str:
        return f"launch check of outing {self.outing_id}"


class LateCheckQuerySet(models.QuerySet["LateCheck"]):
    """Filters over refused late checks."""

    def unsettled(self) -> "LateCheckQuerySet":
        """Those of riders who may still be on the water."""
        return self.filter(settled=None)


class LateCheck(models.Model):
    """A launch check that a device kept and the service refused when it came: its rider may be afloat."""

    outing = models.ForeignKey(Outing, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    ticked_at = models.DateTimeField(null=True)
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    once = models.UUIDField(null=True)
    why = models.CharField(max_length=500)

    objects = LateCheckQuerySet.as_manager()

    class Meta:
        constraints = (models.UniqueConstraint(fields=["by", "once"], name="late_check_once"),)

    def __str__(self) -> str:
        return f"late check of outing {self.outing_id}"


class LateSettled(models.Model):
    """Who let the rider of a refused late check go in the log, or looked and found them not out."""

    late = models.OneToOneField(LateCheck, models.PROTECT, related_name="settled")
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"settlement of late check {self.late_id}"


class PhaseChange(models.Model):
    """An overdue phase of an outing, raised once for a due time whoever noticed it first."""

    outing = models.ForeignKey(Outing, models.PROTECT, related_name="+")
    phase = models.CharField(max_length=12)
    raised_at = models.DateTimeField()
    due_at = models.DateTimeField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["outing", "phase", "due_at"], name="phase_once_per_due_time"),
            models.CheckConstraint(name="phase_known", condition=Q(phase__in=PHASES)),
        )

    def __str__(self) -> str:
        return f"{self.phase} of outing {self.outing_id}"


class Acknowledgement(models.Model):
    """Who has taken a raised phase on."""

    change = models.OneToOneField(PhaseChange, models.PROTECT, related_name="acknowledged")
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"acknowledgement of {self.change_id}"


class Escalation(models.Model):
    """A raised phase told again, louder, because nobody had taken it on."""

    change = models.ForeignKey(PhaseChange, models.PROTECT, related_name="escalations")
    step = models.PositiveSmallIntegerField()
    at = models.DateTimeField()

    class Meta:
        constraints = (models.UniqueConstraint(fields=["change", "step"], name="escalation_step_once"),)

    def __str__(self) -> str:
        return f"step {self.step} of {self.change_id}"


class WatchContact(models.Model):
    """Who is told next when nobody at the station's own watch address takes a phase on."""

    station = models.ForeignKey(Station, models.CASCADE, related_name="+")
    place = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=80)
    email = models.EmailField()
    phone = models.CharField(max_length=30, blank=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["station", "place"], name="contact_place_once"),
            models.CheckConstraint(name="contact_place", condition=Q(place__range=(1, MOST_CONTACTS))),
        )

    def __str__(self) -> str:
        return self.name


class Sighting(models.Model):
    """A rider seen on the water: when, by whom, and where from the station if it was noted."""

    outing = models.ForeignKey(Outing, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    in_trouble = models.BooleanField(default=False)
    bearing_deg = models.FloatField(null=True)
    distance_m = models.FloatField(null=True)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        indexes = (models.Index(fields=["outing", "-at"], name="sighting_newest"),)
        constraints = (
            models.CheckConstraint(
                name="sighting_place_is_whole",
                condition=Q(bearing_deg=None, distance_m=None)
                | Q(
                    bearing_deg__isnull=False,
                    distance_m__isnull=False,
                    bearing_deg__gte=0,
                    bearing_deg__lt=360,
                    distance_m__gte=0,
                    distance_m__lte=FURTHEST_M,
                ),
            ),
        )

    def __str__(self) -> str:
        return f"sighting of outing {self.outing_id}"


class HeadCount(models.Model):
    """Riders counted on the water beside those that the log has there."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    counted = models.PositiveSmallIntegerField()
    logged = models.PositiveSmallIntegerField()

    class Meta:
        indexes = (models.Index(fields=["station", "-at"], name="head_count_newest"),)
        constraints = (models.CheckConstraint(name="head_count_range", condition=Q(counted__lte=MOST_HEADS)),)

    def __str__(self) -> str:
        return f"{self.counted} of {self.logged}"


class Recall(models.Model):
    """Everybody called ashore, from when it was called until it is lifted; nobody launches meanwhile."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    reason = models.CharField(max_length=200, blank=True)
    lifted_at = models.DateTimeField(null=True)
    lifted_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["station"], condition=Q(lifted_at=None), name="one_recall_at_a_time"
            ),
            models.CheckConstraint(
                name="recall_lift_is_signed",
                condition=Q(lifted_at=None, lifted_by=None)
                | Q(lifted_at__isnull=False, lifted_by__isnull=False),
            ),
        )

    def __str__(self) -> str:
        return f"recall {self.at:%Y-%m-%d %H:%M}"
