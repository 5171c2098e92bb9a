"""Letters and calls waiting to be sent, those that were, and the addresses that are called."""

from datetime import datetime

from django.db import models
from django.db.models import Q


class LetterQuerySet(models.QuerySet["Letter"]):
    """Reading the outbox."""

    def waiting(self, now: datetime) -> "LetterQuerySet":
        """Unsent letters whose next try is due, oldest first."""
        due = Q(next_try_at__isnull=True) | Q(next_try_at__lte=now)
        return self.filter(due, sent_at=None, bounced_at=None).order_by("id")

    def concerning(self, *things: str) -> "LetterQuerySet":
        """Letters about things, such as `booking:7`, newest first."""
        return self.filter(about__in=things).order_by("-id")


class Letter(models.Model):
    """One mail of one event; the event's key makes writing it twice impossible.

    `about` names the thing it is about, `calendar` goes with it as an attachment. `bounced_at` says that the
    other side refused it for good, and `error` tells how. An alarm is tried for ever all the same; only what
    `may_bounce` is given up.
    """

    event = models.CharField(max_length=120, unique=True)
    about = models.CharField(max_length=40, blank=True)
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
        indexes = (
            models.Index(fields=["id"], name="letter_waiting", condition=Q(sent_at=None)),
            models.Index(fields=["about"], name="letter_about", condition=~Q(about="")),
        )

    def __str__(self) -> str:
        return f"{self.event} to {self.to}"


class Hook(models.Model):
    """A web address of a station's own that alarms are posted to, and the key that signs them."""

    station_id = models.BigIntegerField()
    url = models.URLField(max_length=300)
    secret = models.CharField(max_length=80)
    set_at = models.DateTimeField()
    stopped_at = models.DateTimeField(null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["station_id"], condition=Q(stopped_at=None), name="one_hook_per_station"
            ),
        )

    def __str__(self) -> str:
        return self.url


class CallQuerySet(models.QuerySet["Call"]):
    """Reading the outbox of calls."""

    def waiting(self, now: datetime) -> "CallQuerySet":
        """Unsent calls to an address in use whose next try is due, oldest first."""
        due = Q(next_try_at__isnull=True) | Q(next_try_at__lte=now)
        return self.filter(due, sent_at=None, hook__stopped_at=None).order_by("id")


class Call(models.Model):
    """One signed call of one event to one address, tried until it is answered."""

    hook = models.ForeignKey(Hook, models.PROTECT, related_name="+")
    event = models.CharField(max_length=120)
    body = models.TextField()
    written_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    next_try_at = models.DateTimeField(null=True)
    error = models.CharField(max_length=300, blank=True)

    objects = CallQuerySet.as_manager()

    class Meta:
        indexes = (models.Index(fields=["id"], name="call_waiting", condition=Q(sent_at=None)),)
        constraints = (models.UniqueConstraint(fields=["hook", "event"], name="call_once"),)

    def __str__(self) -> str:
        return f"{self.event} to {self.hook_id}"
