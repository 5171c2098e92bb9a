"""Journal entries, and the marks that let a repeated request be answered instead of repeated."""

from django.conf import settings
from django.db import models


class EntryQuerySet(models.QuerySet["Entry"]):
    """Reading the journal."""

    def about(self, kind: str, subject_id: int) -> "EntryQuerySet":
        """Entries on one thing, newest first."""
        return self.filter(subject_kind=kind, subject_id=subject_id).order_by("-at", "-id")


class Entry(models.Model):
    """One line of the journal: an act, its subject, and what it changed. The database refuses any change."""

    at = models.DateTimeField()
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    actor_name = models.CharField(max_length=150)
    station_id = models.BigIntegerField()
    act = models.CharField(max_length=60)
    subject_kind = models.CharField(max_length=20)
    subject_id = models.BigIntegerField()
    text = models.CharField(max_length=500)
    data = models.JSONField(default=dict)

    objects = EntryQuerySet.as_manager()

    class Meta:
        indexes = (
            models.Index(fields=["subject_kind", "subject_id", "at"], name="entry_subject"),
            models.Index(fields=["station_id", "at"], name="entry_station_at"),
        )
        verbose_name_plural = "entries"

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.actor_name}: {self.text}"


class Redaction(models.Model):
    """A person's name struck out of what is written: the one change that the database lets through.

    A row without an end is seen by nobody but the transaction that made it, and only that one may change
    append-only rows, by the rule that `lib.rules.erasable` lays.
    """

    subject_kind = models.CharField(max_length=20)
    subject_id = models.BigIntegerField()
    station_id = models.BigIntegerField()
    actor = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="+")
    begun_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)

    class Meta:
        indexes = (models.Index(fields=["subject_kind", "subject_id"], name="redaction_subject"),)

    def __str__(self) -> str:
        return f"{self.subject_kind} {self.subject_id}"


class Once(models.Model):
    """A request that carried a key: the same key again is answered with the same result."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="+")
    key = models.UUIDField()
    act = models.CharField(max_length=60)
    fingerprint = models.CharField(max_length=64)
    result_id = models.BigIntegerField(null=True)
    at = models.DateTimeField()

    class Meta:
        constraints = (models.UniqueConstraint(fields=["user", "key"], name="once_per_user_and_key"),)

    def __str__(self) -> str:
        return f"{self.act} {self.key}"
