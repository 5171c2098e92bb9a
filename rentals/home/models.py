"""A station's page for people at home, the parties that use it, their secret links and what they signed."""

from datetime import datetime

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from rentals.bookings.models import LONGEST_OUTING, Booking
from rentals.home.states import GuestState
from rentals.people.models import Rider, User
from rentals.stations.models import Station

LANGUAGES = [("en", "English"), ("de", "Deutsch"), ("es", "Español"), ("fr", "Français")]
LONGEST_RULE_MIN = 7 * 24 * 60


class Front(models.Model):
    """How a station shows itself to people at home, and its rules for them. Without one it shows nothing."""

    station = models.OneToOneField(Station, models.PROTECT, related_name="+")
    is_open = models.BooleanField(default=False)
    language = models.CharField(max_length=5, choices=LANGUAGES, default="en")
    greeting = models.CharField(max_length=500, blank=True)
    house_rules = models.TextField(max_length=3000, blank=True)
    phone = models.CharField(max_length=30)
    days_ahead = models.PositiveSmallIntegerField(default=7)
    lead_min = models.PositiveSmallIntegerField(default=60)
    change_until_min = models.PositiveSmallIntegerField(default=120)
    offer_min = models.PositiveSmallIntegerField(default=30)

    class Meta:
        constraints = (
            models.CheckConstraint(name="front_days_ahead", condition=Q(days_ahead__range=(1, 60))),
            models.CheckConstraint(name="front_lead", condition=Q(lead_min__range=(15, LONGEST_RULE_MIN))),
            models.CheckConstraint(
                name="front_change_until", condition=Q(change_until_min__range=(0, LONGEST_RULE_MIN))
            ),
            models.CheckConstraint(name="front_offer", condition=Q(offer_min__range=(5, 24 * 60))),
            models.CheckConstraint(
                name="front_language", condition=Q(language__in=[code for code, _ in LANGUAGES])
            ),
        )

    def __str__(self) -> str:
        return f"Front of {self.station}"


class GuestQuerySet(models.QuerySet["Guest"]):
    """Reading parties from home."""

    def with_booking(self) -> "GuestQuerySet":
        """Join booking, party and station: one query."""
        return self.select_related("booking__party__station")

    def waiting(self, now: datetime) -> "GuestQuerySet":
        """Parties that wait for a place to come, in the order in which they came."""
        return self.filter(state=GuestState.WAITING, starts_at__gt=now).order_by("joined_at", "id")


class Guest(models.Model):
    """A party that is written to: it booked from home, or left an address at the desk.

    `starts_at` and `ends_at` are what it asked for; once booked, its outings say what is promised. `version`
    rises with each change, for calendars. `told` is the digest of the times that it was last told.
    """

    booking = models.OneToOneField(Booking, models.PROTECT, related_name="+")
    state = models.CharField(max_length=8, choices=[(state.value, state.value) for state in GuestState])
    from_home = models.BooleanField()
    language = models.CharField(max_length=5, choices=LANGUAGES)
    once = models.UUIDField(null=True, unique=True)
    fingerprint = models.CharField(max_length=64, blank=True)
    joined_at = models.DateTimeField()
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    offer_until = models.DateTimeField(null=True)
    looked_at_day = models.CharField(max_length=64, blank=True)
    version = models.PositiveIntegerField(default=0)
    told = models.CharField(max_length=64, blank=True)
    told_wind_ms = models.FloatField(null=True)
    riders = models.ManyToManyField(Rider, related_name="+")

    objects = GuestQuerySet.as_manager()

    class Meta:
        indexes = (
            models.Index(fields=["starts_at"], name="guest_by_start"),
            models.Index(fields=["joined_at"], name="guest_waiting", condition=Q(state="waiting")),
        )
        constraints = (
            models.CheckConstraint(
                name="guest_state", condition=Q(state__in=[state.value for state in GuestState])
            ),
            models.CheckConstraint(
                name="guest_span",
                condition=Q(ends_at__gt=F("starts_at"), ends_at__lte=F("starts_at") + LONGEST_OUTING),
            ),
            models.CheckConstraint(
                name="guest_offer_ends", condition=~Q(state="offered") | Q(offer_until__isnull=False)
            ),
            models.CheckConstraint(
                name="guest_language", condition=Q(language__in=[code for code, _ in LANGUAGES])
            ),
        )

    def __str__(self) -> str:
        return f"guest {self.pk}"


class Link(models.Model):
    """A secret address of one party. Only its digest is kept: who reads the table cannot open the page."""

    guest = models.ForeignKey(Guest, models.CASCADE, related_name="+")
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"link {self.pk}"


class Signature(models.Model):
    """What was agreed to for a rider: which text in which version and language, by whom and when.

    `at_desk` is who handed the tablet over; none for what was signed from home. A guardian says how they are
    related to the rider.
    """

    class What(models.TextChoices):
        """Kinds of text."""

        WAIVER = "waiver"
        GUARDIAN = "guardian"
        PRIVACY = "privacy"

    class Relation(models.TextChoices):
        """What a guardian is to the rider."""

        MOTHER = "mother", _("Mother")
        FATHER = "father", _("Father")
        GUARDIAN = "guardian", _("Legal guardian")
        OTHER = "other", _("Another adult whom the parents have entrusted")

    rider = models.ForeignKey(Rider, models.PROTECT, related_name="+")
    what = models.CharField(max_length=8, choices=What.choices)
    version = models.CharField(max_length=40)
    language = models.CharField(max_length=5, choices=LANGUAGES)
    name = models.CharField(max_length=120)
    signed_at = models.DateTimeField()
    relation = models.CharField(max_length=8, choices=Relation.choices, blank=True)
    at_desk = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        indexes = (models.Index(fields=["rider", "signed_at"], name="signature_by_rider"),)
        constraints = (
            models.CheckConstraint(
                name="signature_what", condition=Q(what__in=["waiver", "guardian", "privacy"])
            ),
            models.CheckConstraint(name="signature_is_named", condition=~Q(name="") & ~Q(version="")),
            models.CheckConstraint(
                name="signature_relation",
                condition=Q(relation__in=["", "mother", "father", "guardian", "other"]),
            ),
            models.CheckConstraint(
                name="guardian_at_desk_is_related",
                condition=~Q(what="guardian") | Q(at_desk=None) | ~Q(relation=""),
            ),
        )

    def __str__(self) -> str:
        return f"{self.what} {self.version}"


class Tally(models.Model):
    """How often somebody posted within a span of time. Whose it is cannot be read from it."""

    key = models.CharField(max_length=64)
    since = models.DateTimeField()
    count = models.PositiveIntegerField()

    class Meta:
        constraints = (models.UniqueConstraint(fields=["key", "since"], name="tally_per_key_and_span"),)
        indexes = (models.Index(fields=["since"], name="tally_by_age"),)

    def __str__(self) -> str:
        return f"{self.count} since {self.since:%Y-%m-%d %H:%M}"
