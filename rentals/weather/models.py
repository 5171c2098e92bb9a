"""Forecast sources, runs and hours; observations of the beach."""

from datetime import datetime

from django.db import models
from django.db.models import F, Q

from rentals.stations.models import Station

WIND_MS = (0, 75)
STRONGEST_GUST_MS = 110
EVERY_MIN = (5, 1440)


class Kind(models.TextChoices):
    """Forms in which wind comes in."""

    LOCATIONFORECAST = "locationforecast", "met service JSON"
    TAF = "taf", "TAF"
    METAR = "metar", "METAR"
    BUOY = "buoy", "buoy"
    ANEMOMETER = "anemometer", "beach anemometer CSV"
    HAND = "hand", "entered by hand"


FETCHED = (Kind.LOCATIONFORECAST, Kind.TAF, Kind.METAR, Kind.BUOY)


def _wind_rules(name: str) -> tuple[models.CheckConstraint, ...]:
    return (
        models.CheckConstraint(name=f"{name}_mean", condition=Q(mean_ms__range=WIND_MS)),
        models.CheckConstraint(
            name=f"{name}_gust_over_mean",
            condition=Q(gust_ms=None) | Q(gust_ms__gte=F("mean_ms"), gust_ms__lte=STRONGEST_GUST_MS),
        ),
        models.CheckConstraint(
            name=f"{name}_from", condition=Q(from_deg=None) | Q(from_deg__gte=0, from_deg__lte=360)
        ),
    )


class SourceQuerySet(models.QuerySet["Source"]):
    """Reading sources."""

    def due(self, now: datetime) -> "SourceQuerySet":
        """Active sources whose next try has come, the longest waiting first."""
        return self.filter(Q(next_try_at=None) | Q(next_try_at__lte=now), active=True).order_by(
            F("next_try_at").asc(nulls_first=True), "id"
        )


class Source(models.Model):
    """An address from which a station's forecast or observations are fetched, and how that goes."""

    station = models.ForeignKey(Station, models.CASCADE, related_name="+")
    kind = models.CharField(max_length=20, choices=[(kind.value, kind.label) for kind in FETCHED])
    url = models.URLField(max_length=500)
    active = models.BooleanField(default=True)
    height_m = models.FloatField(default=10.0)
    every_min = models.PositiveSmallIntegerField(default=60)
    etag = models.CharField(max_length=200, blank=True)
    last_modified = models.CharField(max_length=60, blank=True)
    tried_at = models.DateTimeField(null=True)
    succeeded_at = models.DateTimeField(null=True)
    next_try_at = models.DateTimeField(null=True)
    failures = models.PositiveIntegerField(default=0)
    error = models.CharField(max_length=300, blank=True)

    objects = SourceQuerySet.as_manager()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["station", "url"], name="source_once"),
            models.CheckConstraint(
                name="source_kind", condition=Q(kind__in=[kind.value for kind in FETCHED])
            ),
            models.CheckConstraint(name="source_height", condition=Q(height_m__range=(0.5, 200))),
            models.CheckConstraint(name="source_every", condition=Q(every_min__range=EVERY_MIN)),
        )

    def __str__(self) -> str:
        return f"{self.get_kind_display()} for {self.station}"


class Run(models.Model):
    """One forecast as it came in. Runs are kept: a later failure never blanks an earlier success."""

    station = models.ForeignKey(Station, models.CASCADE, related_name="+")
    source = models.ForeignKey(Source, models.SET_NULL, null=True, related_name="+")
    kind = models.CharField(max_length=20, choices=Kind.choices)
    issued_at = models.DateTimeField(null=True)
    received_at = models.DateTimeField()
    notes = models.JSONField(default=list)

    class Meta:
        indexes = (models.Index(fields=["station", "-received_at"], name="run_newest"),)
        constraints = (models.CheckConstraint(name="run_kind", condition=Q(kind__in=Kind.values)),)

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.received_at:%Y-%m-%d %H:%M}"


class HourQuerySet(models.QuerySet["Hour"]):
    """Reading forecast hours."""

    def between(self, start: datetime, end: datetime) -> "HourQuerySet":
        """Hours that meet the half-open span, newest run first. No entry is longer than a day."""
        return self.filter(starts_at__lt=end, ends_at__gt=start).order_by(
            "-run__received_at", "-run_id", "starts_at"
        )


class Hour(models.Model):
    """The wind of one span of a run, 10 m above the water. Usually an hour; far ahead often six."""

    run = models.ForeignKey(Run, models.CASCADE, related_name="hours")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    mean_ms = models.FloatField()
    gust_ms = models.FloatField(null=True)
    from_deg = models.FloatField(null=True)
    temperature_c = models.FloatField(null=True)
    pressure_hpa = models.FloatField(null=True)
    relative_humidity = models.FloatField(null=True)

    objects = HourQuerySet.as_manager()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["run", "starts_at"], name="hour_once_per_run"),
            models.CheckConstraint(name="hour_span", condition=Q(ends_at__gt=F("starts_at"))),
            *_wind_rules("hour"),
            models.CheckConstraint(
                name="hour_humidity", condition=Q(relative_humidity=None) | Q(relative_humidity__range=(0, 1))
            ),
        )
        indexes = (models.Index(fields=["starts_at"], name="hour_start"),)

    def __str__(self) -> str:
        return f"{self.starts_at:%Y-%m-%d %H:%M} {self.mean_ms} m/s"


class Observation(models.Model):
    """What an instrument measured: wind at its own height, water temperature where it has one."""

    station = models.ForeignKey(Station, models.CASCADE, related_name="+")
    kind = models.CharField(max_length=20, choices=Kind.choices)
    at = models.DateTimeField()
    mean_ms = models.FloatField()
    gust_ms = models.FloatField(null=True)
    from_deg = models.FloatField(null=True)
    height_m = models.FloatField()
    averaging_s = models.PositiveIntegerField(null=True)
    temperature_c = models.FloatField(null=True)
    water_c = models.FloatField(null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["station", "kind", "at"], name="observation_once"),
            models.CheckConstraint(name="observation_kind", condition=Q(kind__in=Kind.values)),
            models.CheckConstraint(name="observation_height", condition=Q(height_m__range=(0.5, 200))),
            *_wind_rules("observation"),
        )

    def __str__(self) -> str:
        return f"{self.at:%Y-%m-%d %H:%M} {self.mean_ms} m/s"
