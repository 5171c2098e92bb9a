"""Incidents, what is told of them and done since, and the closing rounds: added to, never changed."""

from django.db import models
from django.db.models import Exists, F, OuterRef, Q

from rentals.bookings.models import Outing
from rentals.fleet.models import Item
from rentals.lib.access import Actor
from rentals.people.models import Rider, User
from rentals.stations.models import Station


class Kind(models.TextChoices):
    """What sort of incident."""

    NEAR_MISS = "near_miss", "near miss"
    INJURY = "injury", "injury"
    RESCUE = "rescue", "rescue"
    DAMAGE = "damage", "damage"
    LOSS = "loss", "loss"


class Severity(models.TextChoices):
    """How bad it was. Common practice, no source."""

    NONE = "none", "nobody hurt, nothing broken"
    MINOR = "minor", "minor: dealt with on the beach"
    MODERATE = "moderate", "moderate: a doctor, or kit out of use"
    SEVERE = "severe", "severe: hospital or the rescue service"
    FATAL = "fatal", "fatal"


class Cause(models.TextChoices):
    """What mainly led to it. Common practice, no source."""

    UNKNOWN = "unknown", "not known yet"
    KIT_FAILED = "kit_failed", "kit failed"
    KIT_SET = "kit_set", "kit chosen or set wrongly"
    WIND_OR_SEA = "wind_or_sea", "wind, waves, current or cold"
    JUDGEMENT = "judgement", "rider's judgement or skill"
    SUPERVISION = "supervision", "supervision or instruction"
    OTHERS = "others", "another craft or bather"
    GROUND = "ground", "shallow water or an obstacle"
    HEALTH = "health", "health or tiredness"
    OTHER = "other", "something else"


class IncidentQuerySet(models.QuerySet["Incident"]):
    """Reading incidents."""

    def visible_to(self, actor: Actor) -> "IncidentQuerySet":
        """Incidents at the actor's stations."""
        return self.filter(station_id__in=actor.station_ids)


class Incident(models.Model):
    """That something happened, and who said so first; what happened is in its tellings."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    reported_at = models.DateTimeField()
    reported_by = models.ForeignKey(User, models.PROTECT, related_name="+")

    objects = IncidentQuerySet.as_manager()

    class Meta:
        indexes = (models.Index(fields=["station", "reported_at"], name="incident_by_station"),)

    def __str__(self) -> str:
        return f"incident {self.pk}"


class TellingQuerySet(models.QuerySet["Telling"]):
    """Reading tellings."""

    def newest(self) -> "TellingQuerySet":
        """The telling in force of each incident: no correction follows it."""
        later = Telling.objects.filter(incident=OuterRef("incident"), version__gt=OuterRef("version"))
        return self.filter(~Exists(later))


class Telling(models.Model):
    """What happened, as first told or as corrected; the one with the highest version is in force."""

    incident = models.ForeignKey(Incident, models.PROTECT, related_name="tellings")
    version = models.PositiveSmallIntegerField()
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    why = models.CharField(max_length=300, blank=True)
    kind = models.CharField(max_length=10, choices=Kind.choices)
    severity = models.CharField(max_length=10, choices=Severity.choices)
    cause = models.CharField(max_length=12, choices=Cause.choices)
    happened_at = models.DateTimeField()
    place = models.CharField(max_length=120, blank=True)
    words = models.TextField(max_length=4000)
    witness = models.CharField(max_length=200, blank=True)
    outing = models.ForeignKey(Outing, models.PROTECT, null=True, related_name="+")
    rider = models.ForeignKey(Rider, models.PROTECT, null=True, related_name="+")
    weather = models.JSONField(default=dict)

    objects = TellingQuerySet.as_manager()

    class Meta:
        indexes = (models.Index(fields=["happened_at"], name="telling_by_time"),)
        constraints = (
            models.UniqueConstraint(fields=["incident", "version"], name="telling_once_per_version"),
            models.CheckConstraint(name="telling_counts_from_one", condition=Q(version__gte=1)),
            models.CheckConstraint(name="telling_kind", condition=Q(kind__in=Kind.values)),
            models.CheckConstraint(name="telling_severity", condition=Q(severity__in=Severity.values)),
            models.CheckConstraint(name="telling_cause", condition=Q(cause__in=Cause.values)),
            models.CheckConstraint(name="telling_says_what", condition=~Q(words="")),
            models.CheckConstraint(name="correction_says_why", condition=Q(version=1) | ~Q(why="")),
            models.CheckConstraint(name="told_after_it_happened", condition=Q(happened_at__lte=F("at"))),
        )

    def __str__(self) -> str:
        return f"{self.kind} {self.happened_at:%Y-%m-%d %H:%M}"


class IncidentItem(models.Model):
    """An item that was involved; it was held back when this was written."""

    incident = models.ForeignKey(Incident, models.PROTECT, related_name="items")
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = (models.UniqueConstraint(fields=["incident", "item"], name="item_once_per_incident"),)

    def __str__(self) -> str:
        return f"{self.item_id} in incident {self.incident_id}"


class FollowUp(models.Model):
    """What was done since; closings and reopenings take turns, counted from one."""

    class Step(models.TextChoices):
        """What a follow-up is."""

        NOTE = "note", "note"
        CLOSED = "closed", "closed"
        REOPENED = "reopened", "reopened"

    incident = models.ForeignKey(Incident, models.PROTECT, related_name="follow_ups")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    step = models.CharField(max_length=8, choices=Step.choices)
    turn = models.PositiveSmallIntegerField(null=True)
    words = models.TextField(max_length=2000)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["incident", "turn"], name="incident_turn_once"),
            models.CheckConstraint(name="follow_up_says_what", condition=~Q(words="")),
            models.CheckConstraint(
                name="follow_up_step",
                condition=Q(step="note", turn=None)
                | Q(step="closed", turn__isnull=False)
                | Q(step="reopened", turn__isnull=False),
            ),
        )

    def __str__(self) -> str:
        return f"{self.step} on incident {self.incident_id}"


class Closing(models.Model):
    """A day signed off after its closing round, or opened again; the two take turns, counted from one."""

    class Step(models.TextChoices):
        """What a line is."""

        SIGNED = "signed", "signed"
        REOPENED = "reopened", "opened again"

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    day = models.DateField()
    turn = models.PositiveSmallIntegerField()
    step = models.CharField(max_length=8, choices=Step.choices)
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    name = models.CharField(max_length=150)
    points = models.JSONField(default=list)
    missing = models.JSONField(default=list)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["station", "day", "turn"], name="closing_turn_once"),
            models.CheckConstraint(name="closing_by_a_named_person", condition=~Q(name="")),
            models.CheckConstraint(name="closing_step", condition=Q(step__in=["signed", "reopened"])),
        )

    def __str__(self) -> str:
        return f"{self.day:%Y-%m-%d} {self.step} by {self.name}"


class CallMade(models.Model):
    """That somebody was told of a rider in distress: whom, when, and what was said."""

    outing = models.ForeignKey(Outing, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey(User, models.PROTECT, related_name="+")
    whom = models.CharField(max_length=120)
    words = models.CharField(max_length=500, blank=True)

    class Meta:
        indexes = (models.Index(fields=["outing", "at"], name="call_made_by_outing"),)
        constraints = (models.CheckConstraint(name="call_made_to_somebody", condition=~Q(whom="")),)

    def __str__(self) -> str:
        return f"{self.whom} told of outing {self.outing_id}"
