"""What things cost at a station: its money terms, taxes, goods, seasons and prices."""

from datetime import date, datetime

from django.db import models
from django.db.models import F, Q

from rentals.lib.money import Money
from rentals.people.models import User
from rentals.stations.models import Station

LONGEST_WAIT_DAYS = 3650
MOST_FREE_HOURS = 30 * 24


class TermsManager(models.Manager["Terms"]):
    """Terms with their station, whose currency they speak."""

    def get_queryset(self) -> models.QuerySet["Terms"]:
        """Join the station."""
        return super().get_queryset().select_related("station")


class Terms(models.Model):
    """How a station handles money: steps, late fee and deposits, in minor units of its currency."""

    station = models.OneToOneField(Station, models.PROTECT, primary_key=True, related_name="+")
    half_day_min = models.PositiveSmallIntegerField(default=240)
    hour_step_min = models.PositiveSmallIntegerField(default=30)
    late_grace_min = models.PositiveSmallIntegerField(default=10)
    late_step_min = models.PositiveSmallIntegerField(default=15)
    late_step_minor = models.PositiveIntegerField(default=0)
    late_most_minor = models.PositiveIntegerField(default=0)
    deposit_pct = models.PositiveSmallIntegerField(default=0)
    excess_minor = models.PositiveIntegerField(default=0)
    credit_days = models.PositiveSmallIntegerField(default=365)
    seller_name = models.CharField(max_length=120)
    seller_address = models.CharField(max_length=300, blank=True)
    tax_number = models.CharField(max_length=40, blank=True)
    set_at = models.DateTimeField(null=True)
    set_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    objects = TermsManager()

    class Meta:
        verbose_name_plural = "terms"
        constraints = (
            models.CheckConstraint(name="terms_half_day", condition=Q(half_day_min__range=(60, 720))),
            models.CheckConstraint(name="terms_hour_step", condition=Q(hour_step_min__range=(5, 60))),
            models.CheckConstraint(name="terms_late_grace", condition=Q(late_grace_min__lte=120)),
            models.CheckConstraint(name="terms_late_step", condition=Q(late_step_min__range=(5, 240))),
            models.CheckConstraint(
                name="terms_late_most", condition=Q(late_most_minor__gte=F("late_step_minor"))
            ),
            models.CheckConstraint(name="terms_deposit", condition=Q(deposit_pct__lte=100)),
            models.CheckConstraint(
                name="terms_credit_days", condition=Q(credit_days__range=(1, LONGEST_WAIT_DAYS))
            ),
        )

    def __str__(self) -> str:
        return f"money terms of {self.station_id}"

    @property
    def currency(self) -> str:
        """The station's currency."""
        return self.station.currency

    def money(self, minor: int) -> Money:
        """Return minor units as money of the station."""
        return Money(minor, self.currency)

    @property
    def late_step(self) -> Money:
        """The late fee of a started step."""
        return self.money(self.late_step_minor)

    @property
    def late_most(self) -> Money:
        """The late fee at most."""
        return self.money(self.late_most_minor)

    @property
    def excess(self) -> Money:
        """The usual damage excess."""
        return self.money(self.excess_minor)


class CancelRule(models.Model):
    """What calling an outing off costs: nothing until some hours before it, then a share of its price.

    A change is a further row, and a promise keeps the rule of its moment; the database refuses any other.
    """

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    free_hours = models.PositiveSmallIntegerField()
    share_pct = models.PositiveSmallIntegerField()
    missed_pct = models.PositiveSmallIntegerField()
    set_at = models.DateTimeField()
    set_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        indexes = (models.Index(fields=["station", "set_at"], name="cancel_rule_by_station"),)
        constraints = (
            models.CheckConstraint(name="cancel_rule_hours", condition=Q(free_hours__lte=MOST_FREE_HOURS)),
            models.CheckConstraint(
                name="cancel_rule_shares", condition=Q(share_pct__lte=100, missed_pct__lte=100)
            ),
        )

    def __str__(self) -> str:
        return f"free until {self.free_hours} h before, then {self.share_pct} %"


class Tax(models.Model):
    """A band of tax, such as standard or reduced, whose rate changes by day."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    name = models.CharField(max_length=40)

    class Meta:
        verbose_name_plural = "taxes"
        constraints = (models.UniqueConstraint(fields=["station", "name"], name="tax_name_once"),)

    def __str__(self) -> str:
        return self.name


class TaxRate(models.Model):
    """The rate of a band from a day on. A change is a further row; the database refuses any other."""

    tax = models.ForeignKey(Tax, models.PROTECT, related_name="+")
    pct = models.DecimalField(max_digits=5, decimal_places=2)
    since = models.DateField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["tax", "since"], name="tax_rate_once_a_day"),
            models.CheckConstraint(name="tax_rate_range", condition=Q(pct__gte=0, pct__lt=100)),
        )

    def __str__(self) -> str:
        return f"{self.pct} % since {self.since}"


class Good(models.Model):
    """What is sold: a rental, a lesson, storage, or something else, and what its price includes."""

    class Kind(models.TextChoices):
        """What is sold."""

        RENTAL = "rental"
        LESSON = "lesson"
        STORAGE = "storage"
        EXTRA = "extra"

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    code = models.SlugField(max_length=30)
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=8, choices=Kind.choices)
    tax = models.ForeignKey(Tax, models.PROTECT, related_name="+")
    included = models.CharField(max_length=300, blank=True)
    usual = models.BooleanField(default=False)
    sold = models.BooleanField(default=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["station", "code"], name="good_code_once"),
            models.UniqueConstraint(
                fields=["station", "kind"], condition=Q(usual=True), name="one_usual_good_of_a_kind"
            ),
            models.CheckConstraint(
                name="good_kind", condition=Q(kind__in=["rental", "lesson", "storage", "extra"])
            ),
            models.CheckConstraint(name="good_usual_is_sold", condition=Q(usual=False) | Q(sold=True)),
        )

    def __str__(self) -> str:
        return self.name


class Season(models.Model):
    """A span of days with prices of its own, both ends included. Dropped ones stay for older quotes."""

    station = models.ForeignKey(Station, models.PROTECT, related_name="+")
    name = models.CharField(max_length=40)
    first_day = models.DateField()
    last_day = models.DateField()
    made_at = models.DateTimeField()
    dropped_at = models.DateTimeField(null=True)

    class Meta:
        constraints = (
            models.CheckConstraint(name="season_span", condition=Q(last_day__gte=F("first_day"))),
            models.CheckConstraint(
                name="season_dropped_later",
                condition=Q(dropped_at=None) | Q(dropped_at__gte=F("made_at")),
            ),
        )

    def __str__(self) -> str:
        return self.name

    def holds(self, day: date, as_of: datetime) -> bool:
        """Say whether a day lies in it, as the station saw it at a moment."""
        known = self.made_at <= as_of and (self.dropped_at is None or self.dropped_at > as_of)
        return known and self.first_day <= day <= self.last_day


class Unit(models.TextChoices):
    """By what a thing is priced."""

    HOUR = "hour", "hour"
    HALF_DAY = "half_day", "half-day"
    DAY = "day", "day"
    WEEK = "week", "week"
    MONTH = "month", "month"
    SEASON = "season", "season"
    CARD = "card", "season card"
    PIECE = "piece", "piece"


STORED_BY = (Unit.DAY, Unit.WEEK, Unit.MONTH, Unit.SEASON)
"""Units by which own kit is stored."""

AHEAD = (Unit.CARD, Unit.WEEK, Unit.SEASON)
"""Units in which a rental is paid ahead, as a pass."""


class Price(models.Model):
    """What a unit of a good costs from a day on, as set at a moment; tax is within. Rows never change.

    The newest row known at a moment is the one in force, so a promise can be priced again as it was made.
    No amount takes the price off the list; a season card says how many hours are on it.
    """

    good = models.ForeignKey(Good, models.PROTECT, related_name="+")
    season = models.ForeignKey(Season, models.PROTECT, null=True, related_name="+")
    unit = models.CharField(max_length=8, choices=Unit.choices)
    amount_minor = models.PositiveIntegerField(null=True)
    card_hours = models.PositiveSmallIntegerField(null=True)
    valid_from = models.DateField()
    set_at = models.DateTimeField()
    set_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")

    class Meta:
        indexes = (models.Index(fields=["good", "unit", "valid_from"], name="price_by_good"),)
        constraints = (
            models.CheckConstraint(name="price_unit", condition=Q(unit__in=Unit.values)),
            models.CheckConstraint(
                name="price_card_has_hours",
                condition=Q(unit="card", card_hours__isnull=False, card_hours__gt=0)
                | Q(unit="card", amount_minor=None)
                | (~Q(unit="card") & Q(card_hours=None)),
            ),
        )

    def __str__(self) -> str:
        return f"{self.good_id} by the {self.unit}"
