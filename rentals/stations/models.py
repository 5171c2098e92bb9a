"""Stations and their wind limits by level."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q

from rentals.lib.access import Actor
from rigging.checks import ALWAYS_HARD, HARD_GATES, HalvingLimits, PhaseMinutes
from rigging.levels import Level

LEVELS = [(level.value, level.value) for level in Level]
DAY_MIN = 24 * 60
WATER_C = (-3, 45)
ACKNOWLEDGE_MIN = (1, 60)
MOST_RIDERS = 20


def usual_soft_gates() -> list[str]:
    """Return the launch gates that an instructor's reason may open unless the station says otherwise."""
    return [name for name, hard in HARD_GATES.items() if not hard]


class StationQuerySet(models.QuerySet["Station"]):
    """Reading stations."""

    def visible_to(self, actor: Actor) -> "StationQuerySet":
        """Stations at which the actor has a role."""
        return self.filter(pk__in=actor.station_ids)

    def locked(self, station_id: int) -> "Station":
        """Return a station whose row other writers wait for until the transaction ends; readers go on.

        Rows that point at the station may still be written: their key is not locked.
        """
        return self.select_for_update(no_key=True).get(pk=station_id)


class Station(models.Model):
    """One beach site. Bearings are degrees true; `seaward_deg` faces the open water."""

    name = models.CharField(max_length=80)
    slug = models.SlugField(unique=True)
    zone_name = models.CharField(max_length=40)
    latitude_deg = models.FloatField()
    longitude_deg = models.FloatField()
    seaward_deg = models.FloatField()
    opens = models.TimeField()
    closes = models.TimeField()
    turn_round_min = models.PositiveSmallIntegerField(default=15)
    currency = models.CharField(max_length=3, default="EUR")
    salt_water = models.BooleanField(default=True)
    watch_email = models.EmailField()
    rescue_number = models.CharField(max_length=30, validators=[RegexValidator(r"^[0-9 +()-]+$")])

    uncertainty_min = models.PositiveSmallIntegerField(default=10)
    alert_min = models.PositiveSmallIntegerField(default=25)
    distress_min = models.PositiveSmallIntegerField(default=40)
    cold_water_c = models.FloatField(default=15)
    sunset_min = models.PositiveSmallIntegerField(default=60)
    acknowledge_min = models.PositiveSmallIntegerField(default=5)
    riders_per_instructor = models.PositiveSmallIntegerField(default=6)
    riders_without_boat = models.PositiveSmallIntegerField(default=4)
    soft_gates = models.JSONField(default=usual_soft_gates)

    watched_at = models.DateTimeField(null=True)
    """When the watch last looked at this station to the end: its heartbeat."""

    objects = StationQuerySet.as_manager()

    class Meta:
        constraints = (
            models.CheckConstraint(name="station_currency", condition=Q(currency__regex=r"^[A-Z]{3}$")),
            models.CheckConstraint(name="station_latitude", condition=Q(latitude_deg__range=(-90, 90))),
            models.CheckConstraint(name="station_longitude", condition=Q(longitude_deg__range=(-180, 180))),
            models.CheckConstraint(
                name="station_seaward", condition=Q(seaward_deg__gte=0, seaward_deg__lt=360)
            ),
            models.CheckConstraint(name="station_opens_before_closing", condition=Q(opens__lt=F("closes"))),
            models.CheckConstraint(name="station_turn_round", condition=Q(turn_round_min__lte=180)),
            models.CheckConstraint(
                name="station_phases_in_turn",
                condition=Q(
                    alert_min__gt=F("uncertainty_min"),
                    distress_min__gt=F("alert_min"),
                    distress_min__lte=DAY_MIN,
                ),
            ),
            models.CheckConstraint(name="station_cold_water", condition=Q(cold_water_c__range=WATER_C)),
            models.CheckConstraint(name="station_sunset_margin", condition=Q(sunset_min__lte=DAY_MIN)),
            models.CheckConstraint(
                name="station_acknowledge", condition=Q(acknowledge_min__range=ACKNOWLEDGE_MIN)
            ),
            models.CheckConstraint(
                name="station_ratio",
                condition=Q(
                    riders_without_boat__gte=1,
                    riders_per_instructor__gte=F("riders_without_boat"),
                    riders_per_instructor__lte=MOST_RIDERS,
                ),
            ),
        )

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        """The zone of the clock on the station's wall."""
        return ZoneInfo(self.zone_name)

    @property
    def phase_minutes(self) -> PhaseMinutes:
        """When each overdue phase begins here."""
        return PhaseMinutes(
            uncertainty=self.uncertainty_min, alert=self.alert_min, distress=self.distress_min
        )

    @property
    def halving(self) -> HalvingLimits:
        """When those minutes are halved here."""
        return HalvingLimits(cold_water_c=self.cold_water_c, sunset_min=self.sunset_min)

    @property
    def hard_gates(self) -> dict[str, bool]:
        """Which launch gates are hard here; some are hard whatever a station says."""
        return {name: name not in self.soft_gates or name in ALWAYS_HARD for name in HARD_GATES}

    def local(self, moment: datetime) -> datetime:
        """Return a moment as the station's clock shows it."""
        return moment.astimezone(self.zone)


class WindLimit(models.Model):
    """The mean beach wind up to which a level may go afloat here, in m/s."""

    station = models.ForeignKey(Station, models.CASCADE, related_name="wind_limits")
    level = models.CharField(max_length=12, choices=LEVELS)
    mean_ms = models.FloatField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["station", "level"], name="wind_limit_per_level"),
            models.CheckConstraint(
                name="wind_limit_level", condition=Q(level__in=[level for level, _ in LEVELS])
            ),
            models.CheckConstraint(name="wind_limit_range", condition=Q(mean_ms__gt=0, mean_ms__lte=30)),
        )

    def __str__(self) -> str:
        return f"{self.station}: {self.level} to {self.mean_ms} m/s"
