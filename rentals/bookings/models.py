"""Parties, bookings, outings and the kit held for each outing."""

from datetime import datetime, timedelta

from django.db import models
from django.db.models import F, Q

from rentals.bookings.states import OutingState
from rentals.fleet.models import Hold, Item, Kind
from rentals.lib.access import Actor
from rentals.people.models import Rider, User
from rentals.stations.models import Station

LONGEST_OUTING = timedelta(hours=12)


class Party(models.Model):
    """Riders who come together under one contact."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    contact_name = models.CharField(max_length=120)
    contact_phone = models.CharField(max_length=30, blank=True)
    contact_email = models.EmailField(blank=True)

    class Meta:
        verbose_name_plural = "parties"
        constraints = (
            models.CheckConstraint(
                name="party_can_be_reached", condition=~Q(contact_phone="", contact_email="")
            ),
        )

    def __str__(self) -> str:
        return self.contact_name


class Booking(models.Model):
    """What a party is promised; `despite` is why, where the day's promise did not hold."""

    class Kind(models.TextChoices):
        """What is booked."""

        RENTAL = "rental"
        LESSON = "lesson"

    party = models.ForeignKey(Party, models.PROTECT, related_name="+")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    booked_at = models.DateTimeField()
    booked_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    note = models.CharField(max_length=300, blank=True)
    despite = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = (
            models.CheckConstraint(name="booking_kind", condition=Q(kind__in=["rental", "lesson"])),
        )

    def __str__(self) -> str:
        return f"{self.kind} {self.pk}"


class OutingQuerySet(models.QuerySet["Outing"]):
    """Reading outings."""

    def visible_to(self, actor: Actor) -> "OutingQuerySet":
        """Outings at the actor's stations."""
        return self.filter(station_id__in=actor.station_ids)

    def between(self, start: datetime, end: datetime) -> "OutingQuerySet":
        """Outings that start in the half-open span, by time."""
        return self.filter(starts_at__gte=start, starts_at__lt=end).order_by("starts_at", "id")

    def afloat(self) -> "OutingQuerySet":
        """Outings on the water, whenever they were due."""
        return self.filter(state=OutingState.AFLOAT)

    def with_faces(self) -> "OutingQuerySet":
        """Join rider, booking and party for a list: one query."""
        return self.select_related("rider", "booking__party")


class Outing(models.Model):
    """One rider's time on the water, from promise to closing."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    booking = models.ForeignKey(Booking, models.PROTECT, related_name="+")
    rider = models.ForeignKey(Rider, models.PROTECT, related_name="+")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    state = models.CharField(
        max_length=10,
        choices=[(state.value, state.value) for state in OutingState],
        default=OutingState.BOOKED,
    )
    kit_no = models.PositiveIntegerField(default=0)
    launched_at = models.DateTimeField(null=True)
    ashore_at = models.DateTimeField(null=True)
    closed_at = models.DateTimeField(null=True)

    objects = OutingQuerySet.as_manager()

    class Meta:
        indexes = (
            models.Index(fields=["station", "starts_at"], name="outing_by_day"),
            models.Index(fields=["station"], name="outing_afloat", condition=Q(state="afloat")),
            models.Index(fields=["closed_at"], name="outing_closed"),
            models.Index(fields=["rider", "starts_at"], name="outing_by_rider"),
        )
        constraints = (
            models.CheckConstraint(
                name="outing_state", condition=Q(state__in=[state.value for state in OutingState])
            ),
            models.CheckConstraint(
                name="outing_span",
                condition=Q(ends_at__gt=F("starts_at"), ends_at__lte=F("starts_at") + LONGEST_OUTING),
            ),
            models.CheckConstraint(
                name="afloat_was_launched",
                condition=~Q(state__in=["afloat", "ashore"]) | Q(launched_at__isnull=False),
            ),
            models.CheckConstraint(
                name="ashore_has_a_time",
                condition=~Q(state="ashore") | Q(ashore_at__isnull=False),
            ),
            models.CheckConstraint(
                name="ashore_after_launch",
                condition=Q(ashore_at=None) | Q(launched_at__isnull=False, ashore_at__gte=F("launched_at")),
            ),
            models.CheckConstraint(
                name="closed_has_a_time", condition=~Q(state="closed") | Q(closed_at__isnull=False)
            ),
            models.CheckConstraint(
                name="closed_is_ashore",
                condition=~Q(state="closed", ashore_at=None, launched_at__isnull=False),
            ),
        )

    def __str__(self) -> str:
        return f"{self.rider_id} {self.starts_at:%Y-%m-%d %H:%M}"


class KitPartQuerySet(models.QuerySet["KitPart"]):
    """Reading kit."""

    def in_force(self) -> "KitPartQuerySet":
        """Parts that belong to their outing now: not swapped, not let go."""
        return self.filter(dropped_at=None)

    def to_issue(self) -> "KitPartQuerySet":
        """Parts held for a rider who does not have them yet."""
        return self.in_force().filter(issued_at=None)

    def with_rider(self) -> "KitPartQuerySet":
        """Parts that were handed over and are not back."""
        return self.in_force().filter(issued_at__isnull=False, returned_at=None)

    def promised_before(self, outing: Outing, now: datetime) -> "KitPartQuerySet":
        """Parts that riders of earlier outings are still to have, by a hold in force."""
        held = self.to_issue().filter(hold__live=True, hold__ends_at__gt=now)
        return held.filter(hold__starts_at__lt=outing.starts_at).exclude(outing=outing)

    def with_items(self) -> "KitPartQuerySet":
        """Join item and model, in the order in which the kit was put together: one query."""
        return self.select_related("item__model").order_by("id")


class KitPart(models.Model):
    """One item of an outing's kit. Dropped rows stay, so that what was swapped can be seen."""

    outing = models.ForeignKey(Outing, models.PROTECT, related_name="kit")
    item = models.ForeignKey(Item, models.PROTECT, related_name="+")
    hold = models.OneToOneField(Hold, models.PROTECT, related_name="+")
    part = models.CharField(max_length=12, choices=Kind.choices)
    issued_at = models.DateTimeField(null=True)
    returned_at = models.DateTimeField(null=True)
    dropped_at = models.DateTimeField(null=True)

    objects = KitPartQuerySet.as_manager()

    class Meta:
        indexes = (models.Index(fields=["item"], name="kit_part_by_item"),)
        constraints = (
            models.UniqueConstraint(
                fields=["outing", "part"], condition=Q(dropped_at=None), name="one_item_per_part"
            ),
            models.UniqueConstraint(
                fields=["item"],
                condition=Q(issued_at__isnull=False, returned_at=None, dropped_at=None),
                name="item_out_once",
            ),
            models.CheckConstraint(
                name="kit_returned_after_issue",
                condition=Q(returned_at=None) | Q(issued_at__isnull=False, returned_at__gte=F("issued_at")),
            ),
        )

    def __str__(self) -> str:
        return f"{self.part} of {self.outing_id}"
