"""Launch checks as logged, and each overdue phase as it was raised."""

from django.db import models
from django.db.models import Q

from rentals.bookings.models import Outing
from rentals.people.models import User
from rentals.stations.models import Station

WATER_C = (-3, 45)
MOST_INSTRUCTORS = 50
PHASES = ("uncertainty", "alert", "distress")


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


class LaunchCheck(models.Model):
    """One look over rider, rig and conditions before launch, with the wording it was made against."""

    outing = models.ForeignKey(Outing, models.PROTECT, related_name="+")
    kit_no = models.PositiveIntegerField()
    at = models.DateTimeField()
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


class PhaseChange(models.Model):
    """An overdue phase of an outing, raised once whoever noticed it first."""

    outing = models.ForeignKey(Outing, models.PROTECT, related_name="+")
    phase = models.CharField(max_length=12)
    raised_at = models.DateTimeField()
    due_at = models.DateTimeField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["outing", "phase"], name="phase_once_per_outing"),
            models.CheckConstraint(name="phase_known", condition=Q(phase__in=PHASES)),
        )

    def __str__(self) -> str:
        return f"{self.phase} of outing {self.outing_id}"
