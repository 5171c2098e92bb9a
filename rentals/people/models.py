"""Users and their postings; riders, their level, waiver and guardian."""

from datetime import date

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import F, Q

from rentals.lib.access import Actor, Role
from rentals.stations.models import LEVELS, Station

ADULT_AGE = 18
MASS_KG = (20, 160)
STATURE_CM = (100, 220)


class User(AbstractUser):
    """Somebody who signs in."""

    @property
    def shown_name(self) -> str:
        """The name the journal keeps."""
        return self.get_full_name() or self.username


class PostingQuerySet(models.QuerySet["Posting"]):
    """Reading postings."""

    def on(self, day: date) -> "PostingQuerySet":
        """Postings in force on a day."""
        return self.filter(Q(until=None) | Q(until__gt=day), since__lte=day)


class Posting(models.Model):
    """A user's role at a station over a span of days, the last one excluded."""

    user = models.ForeignKey(User, models.CASCADE, related_name="+")
    station = models.ForeignKey(Station, models.CASCADE, related_name="+")
    role = models.CharField(max_length=12, choices=[(role.value, role.value) for role in Role])
    since = models.DateField()
    until = models.DateField(null=True)

    objects = PostingQuerySet.as_manager()

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["user", "station", "role"], condition=Q(until=None), name="one_open_posting_per_role"
            ),
            models.CheckConstraint(name="posting_span", condition=Q(until=None) | Q(until__gt=F("since"))),
            models.CheckConstraint(name="posting_role", condition=Q(role__in=[role.value for role in Role])),
        )

    def __str__(self) -> str:
        return f"{self.user} as {self.role} at {self.station}"


class RiderQuerySet(models.QuerySet["Rider"]):
    """Reading riders."""

    def visible_to(self, actor: Actor) -> "RiderQuerySet":
        """Riders known to the actor's stations."""
        return self.filter(station_id__in=actor.station_ids)

    def named(self, part: str) -> "RiderQuerySet":
        """Riders whose name holds every word of `part`."""
        riders = self
        for word in part.split():
            riders = riders.filter(name__icontains=word)
        return riders


class Rider(models.Model):
    """A person who goes afloat."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    name = models.CharField(max_length=120)
    born_on = models.DateField()
    mass_kg = models.DecimalField(max_digits=4, decimal_places=1)
    stature_cm = models.PositiveSmallIntegerField()
    level = models.CharField(max_length=12, choices=LEVELS)
    swims = models.BooleanField()
    phone = models.CharField(max_length=30, blank=True)
    waiver_signed_at = models.DateTimeField(null=True)
    guardian_name = models.CharField(max_length=120, blank=True)
    guardian_phone = models.CharField(max_length=30, blank=True)
    guardian_consent_at = models.DateTimeField(null=True)

    objects = RiderQuerySet.as_manager()

    class Meta:
        indexes = (models.Index(fields=["station", "name"], name="rider_by_name"),)
        constraints = (
            models.CheckConstraint(name="rider_mass", condition=Q(mass_kg__range=MASS_KG)),
            models.CheckConstraint(name="rider_stature", condition=Q(stature_cm__range=STATURE_CM)),
            models.CheckConstraint(name="rider_level", condition=Q(level__in=[level for level, _ in LEVELS])),
            models.CheckConstraint(name="rider_born", condition=Q(born_on__gte=date(1900, 1, 1))),
            models.CheckConstraint(
                name="consent_by_a_named_guardian",
                condition=Q(guardian_consent_at=None) | ~Q(guardian_name=""),
            ),
        )

    def __str__(self) -> str:
        return self.name

    def age_on(self, day: date) -> int:
        """Whole years on a day."""
        had_birthday = (day.month, day.day) >= (self.born_on.month, self.born_on.day)
        return day.year - self.born_on.year - (not had_birthday)

    def is_minor_on(self, day: date) -> bool:
        """Say whether a guardian must consent."""
        return self.age_on(day) < ADULT_AGE


class MedicalNote(models.Model):
    """What helpers should know of a rider in distress; kept only while the rider or guardian agrees."""

    rider = models.OneToOneField(Rider, models.CASCADE, related_name="medical_note")
    note = models.CharField(max_length=300)
    agreed_by = models.CharField(max_length=120)
    agreed_at = models.DateTimeField()
    wording = models.CharField(max_length=20)

    class Meta:
        constraints = (
            models.CheckConstraint(
                name="medical_note_is_agreed_to", condition=~Q(note="") & ~Q(agreed_by="")
            ),
        )

    def __str__(self) -> str:
        return f"medical note of rider {self.rider_id}"
