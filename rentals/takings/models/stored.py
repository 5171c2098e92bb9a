"""Riders' own kit in the station's racks: what, whose, until when, and whether it was fetched."""

from django.db import models
from django.db.models import F, Q

from rentals.bookings.models import Party
from rentals.people.models import User
from rentals.stations.models import Station
from rentals.takings.models.ledger import Charge


class Stored(models.Model):
    """Own kit that a party pays to leave, both days included."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    party = models.ForeignKey(Party, models.PROTECT, related_name="+")
    charge = models.OneToOneField(Charge, models.PROTECT, related_name="stored")
    what = models.CharField(max_length=60)
    first_day = models.DateField()
    last_day = models.DateField()
    fetched_at = models.DateTimeField(null=True)
    fetched_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        verbose_name_plural = "stored"
        indexes = (
            models.Index(fields=["station", "last_day"], name="stored_now", condition=Q(fetched_at=None)),
        )
        constraints = (
            models.CheckConstraint(name="stored_span", condition=Q(last_day__gte=F("first_day"))),
            models.CheckConstraint(name="stored_says_what", condition=~Q(what="")),
        )

    def __str__(self) -> str:
        return self.what
