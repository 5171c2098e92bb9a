"""Letters waiting to be sent, and those that were."""

from datetime import datetime

from django.db import models
from django.db.models import Q


class LetterQuerySet(models.QuerySet["Letter"]):
    """Reading the outbox."""

    def waiting(self, now: datetime) -> "LetterQuerySet":
        """Unsent letters whose next try is due, oldest first."""
        due = Q(next_try_at__isnull=True) | Q(next_try_at__lte=now)
        return self.filter(due, sent_at=None, bounced_at=None).order_by("id")

    def of_events(self, prefix: str) -> "LetterQuerySet":
        """Letters whose event begins so, newest first."""
        return self.filter(event__startswith=prefix).order_by("-written_at", "-id")


class Letter(models.Model):
    """One mail of one event; the event's key makes writing it twice impossible.

    `calendar` goes with it as an iCalendar attachment. `bounced_at` says that the other side refused it for
    good, and `error` tells how. An alarm is tried for ever all the same; only what `may_bounce` is given up.
    """

    event = models.CharField(max_length=120, unique=True)
    to = models.EmailField()
    subject = models.CharField(max_length=200)
    body = models.TextField()
    calendar = models.TextField(blank=True)
    written_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    may_bounce = models.BooleanField(default=False)
    bounced_at = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField(null=True)
    error = models.CharField(max_length=300, blank=True)

    objects = LetterQuerySet.as_manager()

    class Meta:
        indexes = (models.Index(fields=["id"], name="letter_waiting", condition=Q(sent_at=None)),)

    def __str__(self) -> str:
        return f"{self.event} to {self.to}"
