"""Letters waiting to be sent, and those that were."""

from datetime import datetime

from django.db import models
from django.db.models import Q


class LetterQuerySet(models.QuerySet["Letter"]):
    """Reading the outbox."""

    def waiting(self, now: datetime) -> "LetterQuerySet":
        """Unsent letters whose next try is due, oldest first."""
        return self.filter(Q(next_try_at__isnull=True) | Q(next_try_at__lte=now), sent_at=None).order_by("id")


class Letter(models.Model):
    """One mail of one event; the event's key makes writing it twice impossible."""

    event = models.CharField(max_length=120, unique=True)
    to = models.EmailField()
    subject = models.CharField(max_length=200)
    body = models.TextField()
    written_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField(null=True)
    error = models.CharField(max_length=300, blank=True)

    objects = LetterQuerySet.as_manager()

    class Meta:
        indexes = (models.Index(fields=["id"], name="letter_waiting", condition=Q(sent_at=None)),)

    def __str__(self) -> str:
        return f"{self.event} to {self.to}"
