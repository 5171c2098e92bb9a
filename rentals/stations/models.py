"""Stations and their wind limits by level."""

from datetime import datetime
from zoneinfo import ZoneInfo

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q

from rentals.lib.access import Actor
from rigging.levels import Level

LEVELS = [(level.value, level.value) for level in Level]


class StationQuerySet(models.QuerySet["Station"]):
    """Reading stations."""

    def visible_to(self, actor: Actor) -> "StationQuerySet":
        """Stations at which the actor has a role."""
        return self.filter(pk__in=actor.station_ids)


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
    salt_water = models.BooleanField(default=True)
    watch_email = models.EmailField()
    rescue_number = models.CharField(max_length=30, validators=[RegexValidator(r"^[0-9 +()-]+$")])

    objects = StationQuerySet.as_manager()

    class Meta:
        constraints = (
            models.CheckConstraint(name="station_latitude", condition=Q(latitude_deg__range=(-90, 90))),
            models.CheckConstraint(name="station_longitude", condition=Q(longitude_deg__range=(-180, 180))),
            models.CheckConstraint(
                name="station_seaward", condition=Q(seaward_deg__gte=0, seaward_deg__lt=360)
            ),
            models.CheckConstraint(name="station_opens_before_closing", condition=Q(opens__lt=F("closes"))),
            models.CheckConstraint(name="station_turn_round", condition=Q(turn_round_min__lte=180)),
        )

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        """The zone of the clock on the station's wall."""
        return ZoneInfo(self.zone_name)

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
