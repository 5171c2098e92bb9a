"""Stations at which the caller has a role."""

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.paging import PageQuery
from api.schema import operation
from api.shapes import Out
from rentals.lib.access import Role
from rentals.stations.models import Station


class StationShape(Out):
    """A beach site, and what the caller is there."""

    slug = serializers.CharField()
    name = serializers.CharField()
    zone_name = serializers.CharField(help_text="Zone of the station's clock, from the IANA data base.")
    latitude_deg = serializers.FloatField()
    longitude_deg = serializers.FloatField()
    seaward_deg = serializers.FloatField(help_text="Bearing that faces the open water, degrees true.")
    opens = serializers.TimeField(help_text="On the station's clock.")
    closes = serializers.TimeField()
    turn_round_min = serializers.IntegerField()
    rescue_number = serializers.CharField()
    roles = serializers.SerializerMethodField()

    def get_roles(self, station: Station) -> list[Role]:
        """Return the caller's roles there."""
        return sorted(self.context["request"].actor.roles[station.pk])


class Stations(Endpoint):
    """Stations of the caller."""

    @operation("list_stations", StationShape, many=True, query=PageQuery)
    def get(self, request: Asked) -> Response:
        """List the stations at which you have a role."""
        return self.page(
            StationShape, Station.objects.visible_to(request.actor), "name", self.query(PageQuery)
        )


class OneStation(Endpoint):
    """One station."""

    @operation("get_station", StationShape)
    def get(self, request: Asked, station: str) -> Response:
        """Return a station."""
        return self.say(StationShape, self.station(station))
