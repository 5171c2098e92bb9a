"""Passes sold ahead: a season card with its hours, a week or a season without counting; and their uses."""

from django.db import models
from django.db.models import F, Q

from rentals.bookings.models import Outing
from rentals.people.models import Rider, User
from rentals.stations.models import Station
from rentals.takings.models.ledger import Charge


class Pass(models.Model):
    """What a rider paid ahead: so many minutes on the water, or any number within its days."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    rider = models.ForeignKey(Rider, models.PROTECT, related_name="+")
    charge = models.OneToOneField(Charge, models.PROTECT, related_name="pass_sold")
    minutes = models.PositiveIntegerField(null=True)
    first_day = models.DateField()
    last_day = models.DateField()
    sold_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "passes"
        indexes = (models.Index(fields=["rider"], name="pass_by_rider"),)
        constraints = (
            models.CheckConstraint(name="pass_span", condition=Q(last_day__gte=F("first_day"))),
            models.CheckConstraint(
                name="pass_minutes", condition=Q(minutes=None) | Q(minutes__isnull=False, minutes__gt=0)
            ),
        )

    def __str__(self) -> str:
        return f"pass {self.pk}"


class PassUse(models.Model):
    """Minutes that an outing took from a pass; one that gives them back has them negative."""

    held = models.ForeignKey(Pass, models.PROTECT, related_name="uses")
    outing = models.ForeignKey(Outing, models.PROTECT, related_name="+")
    minutes = models.IntegerField()
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    gives_back = models.OneToOneField("self", models.PROTECT, null=True, related_name="given_back")

    class Meta:
        indexes = (models.Index(fields=["outing"], name="pass_use_by_outing"),)
        constraints = (
            models.CheckConstraint(
                name="pass_use_sign",
                condition=Q(gives_back=None, minutes__gt=0) | Q(gives_back__isnull=False, minutes__lt=0),
            ),
        )

    def __str__(self) -> str:
        return f"{self.minutes} min of pass {self.held_id}"
