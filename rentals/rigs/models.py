"""Rig cards as they were made: settings, the inputs behind them and the version of the formulas."""

from django.db import models

from rentals.bookings.models import Outing
from rentals.people.models import User


class Card(models.Model):
    """The settings of one rig for one outing. A new choice makes a new card; cards never change."""

    outing = models.ForeignKey(Outing, models.PROTECT, related_name="+")
    kit_no = models.PositiveIntegerField()
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    choice = models.JSONField()
    settings = models.JSONField()
    inputs = models.JSONField()
    formulas = models.CharField(max_length=20)
    override_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = (models.UniqueConstraint(fields=["outing", "kit_no"], name="card_per_kit"),)

    def __str__(self) -> str:
        return f"card {self.kit_no} of outing {self.outing_id}"
