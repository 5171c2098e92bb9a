"""The beach as somebody found it: boat, instructors, water, wind."""

from http import HTTPStatus
from typing import ClassVar

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.schema import operation
from api.shapes import In, Moment, Number, Out
from api.weather import Hour
from rentals.afloat import queries, services
from rentals.afloat.models import MOST_INSTRUCTORS, WATER_C
from rentals.lib import clock
from rentals.weather.models import STRONGEST_GUST_MS, WIND_MS


class BeachLog(Out):
    """A line of the beach log."""

    at = Moment()
    safety_boat_manned = serializers.BooleanField()
    instructors = serializers.IntegerField()
    water_c = serializers.FloatField(allow_null=True)
    lightning = serializers.BooleanField()


class BeachNow(Out):
    """How the beach stands: what was measured within the hour, what was logged today."""

    measured = Hour(allow_null=True)
    log = BeachLog(allow_null=True)
    last_lightning_at = Moment(allow_null=True)
    riders_afloat = serializers.IntegerField()
    riders_per_instructor = serializers.FloatField(
        allow_null=True, help_text="With the next one; null when nobody is logged on the beach."
    )


class BeachEntry(In):
    """The beach as you find it now. Winds at head height, left out where you did not measure."""

    safety_boat_manned = serializers.BooleanField()
    instructors = serializers.IntegerField(min_value=0, max_value=MOST_INSTRUCTORS)
    lightning = serializers.BooleanField(help_text="Seen or heard just now; holds every launch for a while.")
    water_c = Number(low=WATER_C[0], high=WATER_C[1], allow_null=True, default=None)
    beach_mean_ms = Number(low=WIND_MS[0], high=WIND_MS[1], allow_null=True, default=None, source="mean_ms")
    beach_gust_ms = Number(low=0, high=STRONGEST_GUST_MS, allow_null=True, default=None, source="gust_ms")
    from_deg = Number(low=0, high=360, allow_null=True, default=None)


class Beach(Endpoint):
    """The beach of a station."""

    pointers: ClassVar = {"mean": "/beach_mean_ms", "gust": "/beach_gust_ms"}

    @operation("get_beach", BeachNow)
    def get(self, request: Asked, station: str) -> Response:
        """Say how the beach stands."""
        return self.say(BeachNow, queries.beach_now(self.station(station), now=clock.now()))

    @operation("log_beach", BeachLog, status=HTTPStatus.CREATED, body=BeachEntry, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Log how the beach stands; the newest line of the day counts."""
        at, entry = self.station(station), services.BeachEntry(**self.body(BeachEntry))
        log = services.log_beach(
            actor=request.actor, station_id=at.pk, entry=entry, once=self.once(), now=clock.now()
        )
        return self.say(BeachLog, log, HTTPStatus.CREATED)
