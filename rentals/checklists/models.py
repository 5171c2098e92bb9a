"""Versions of a station's check lists: an edit adds the next one, none is ever changed."""

from django.db import models
from django.db.models import Q

from rentals.people.models import User
from rentals.stations.models import Station


class Check(models.TextChoices):
    """Which check a list is for."""

    LAUNCH = "launch", "launch check"
    RETURN = "return", "return check"


class CheckList(models.Model):
    """One version of a list. Each line is {key, kind, text, levels}; no levels mean all of them."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    check_for = models.CharField(max_length=8, choices=Check.choices)
    version = models.PositiveSmallIntegerField()
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    why = models.CharField(max_length=300, blank=True)
    lines = models.JSONField()

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["station", "check_for", "version"], name="check_list_version_once"
            ),
            models.CheckConstraint(name="check_list_counts_from_one", condition=Q(version__gte=1)),
            models.CheckConstraint(name="check_list_check", condition=Q(check_for__in=Check.values)),
        )

    def __str__(self) -> str:
        return f"{self.get_check_for_display()} list, version {self.version}"
