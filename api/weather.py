"""The wind of a day, how its sources stand, and wind taken in by hand or from a file."""

from http import HTTPStatus
from typing import IO, Any, ClassVar

from drf_spectacular.types import OpenApiTypes
from rest_framework import serializers
from rest_framework.parsers import BaseParser
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.schema import operation
from api.shapes import Choice, Day, In, Moment, Number, Out
from rentals.lib import clock
from rentals.weather import queries, services
from rentals.weather.models import EVERY_MIN, FETCHED, STRONGEST_GUST_MS, WIND_MS, Kind


class Hour(Out):
    """A span of forecast wind, 10 m above the water."""

    starts_at = Moment(source="start")
    ends_at = Moment(source="end")
    mean_10_m_ms = serializers.FloatField(source="mean_ms")
    gust_10_m_ms = serializers.FloatField(source="gust_ms", allow_null=True)
    from_deg = serializers.FloatField(allow_null=True, help_text="Degrees true; null when variable or calm.")
    temperature_c = serializers.FloatField(allow_null=True)
    pressure_hpa = serializers.FloatField(allow_null=True)
    relative_humidity = serializers.FloatField(allow_null=True, help_text="A share of one.")
    source = serializers.CharField(help_text="Who says so, and since when.")  # type: ignore[assignment]


class Run(Out):
    """A forecast as it came in."""

    kind = serializers.ChoiceField(Kind.choices)
    issued_at = Moment(allow_null=True)
    received_at = Moment()
    notes = serializers.ListField(child=serializers.CharField(), help_text="What the source left out.")


class DayWind(Out):
    """The forecast wind of one day at a station, each moment from the newest run that speaks of it."""

    day = serializers.DateField()
    starts_at = Moment(source="start")
    ends_at = Moment(
        source="end", help_text="23 to 25 hours later: days on which clocks change are no others."
    )
    hours = Hour(many=True)
    newest_run = Run(allow_null=True)
    stale = serializers.CharField(help_text="What to think of its age; empty when fresh.")


class SourceState(Out):
    """How a source stands. A source that fails never blanks the last good forecast."""

    id = serializers.IntegerField(source="source_id")
    label = serializers.CharField()  # type: ignore[assignment]
    word = serializers.ChoiceField(["fresh", "stale", "failing", "waiting", "off"])
    sentence = serializers.CharField()
    succeeded_at = Moment(allow_null=True)


class DayQuery(In):
    """Which day."""

    day = Day(required=False, help_text="Today at the station when left out.")


class HandWind(In):
    """A wind that staff expect, 10 m above the water."""

    starts_at = Moment()
    ends_at = Moment(help_text="At most a day later.")
    mean_10_m_ms = Number(low=WIND_MS[0], high=WIND_MS[1])
    gust_10_m_ms = Number(low=0, high=STRONGEST_GUST_MS, allow_null=True, default=None)
    from_deg = Number(low=0, high=360, allow_null=True, default=None)


class NewSource(In):
    """An address that is fetched again and again."""

    kind = Choice([(kind.value, kind.label) for kind in FETCHED])
    url = serializers.URLField(max_length=500)
    every_min = serializers.IntegerField(min_value=EVERY_MIN[0], max_value=EVERY_MIN[1], default=60)
    height_m = Number(low=0.5, high=200, default=10.0, help_text="Of the instrument.")


class FileQuery(In):
    """What a file does not say about itself."""

    unit = Choice(["ms", "kn", "kmh"], default="ms", help_text="Of a CSV that does not say.")
    height_m = Number(low=0.5, high=200, default=10.0, help_text="Of the instrument.")


class Took(Out):
    """What a file brought."""

    kind = serializers.ChoiceField(Kind.choices)
    kept = serializers.IntegerField(help_text="Hours of a forecast, or readings that were new.")
    notes = serializers.ListField(child=serializers.CharField(), help_text="What was left out, and why.")


class Whole(BaseParser):
    """A file as it is."""

    def parse(
        self, stream: IO[Any], media_type: str | None = None, parser_context: Any = None
    ) -> dict[str, bytes]:
        """Return the content."""
        return {"content": stream.read()}


class TextFile(Whole):
    """TAF or METAR text, or a buoy's."""

    media_type = "text/plain"


class CsvFile(Whole):
    """An anemometer's readings."""

    media_type = "text/csv"


class JsonFile(Whole):
    """A location forecast."""

    media_type = "application/json"


class Weather(Endpoint):
    """The wind of a day."""

    @operation("get_weather", DayWind, query=DayQuery)
    def get(self, request: Asked, station: str) -> Response:
        """Return the forecast wind of a day."""
        at, now = self.station(station), clock.now()
        day = self.query(DayQuery).get("day", at.local(now).date())
        return self.say(DayWind, queries.day_wind(at, day, now=now))


class Sources(Endpoint):
    """Where the wind comes from."""

    @operation("list_weather_sources", SourceState, many=True)
    def get(self, request: Asked, station: str) -> Response:
        """Say how each source of the station's wind stands."""
        states = queries.source_states(request.actor, self.station(station), now=clock.now())
        return Response(SourceState(states, many=True).data)

    @operation("add_weather_source", SourceState, status=HTTPStatus.CREATED, body=NewSource)
    def post(self, request: Asked, station: str) -> Response:
        """Fetch from an address from now on; inside private networks nothing is fetched."""
        at, sent, now = self.station(station), self.body(NewSource), clock.now()
        kind = Kind(sent.pop("kind"))
        source = services.add_source(actor=request.actor, station_id=at.pk, kind=kind, now=now, **sent)
        return self.say(SourceState, queries.state_of(source, now), HTTPStatus.CREATED)


class OneSource(Endpoint):
    """One address that wind is fetched from."""

    @operation("stop_weather_source", status=HTTPStatus.NO_CONTENT)
    def delete(self, request: Asked, station: str, source: int) -> Response:
        """Fetch from it no longer; what it brought stays."""
        at = self.station(station)
        services.stop_source(actor=request.actor, station_id=at.pk, source_id=source, now=clock.now())
        return Response(status=HTTPStatus.NO_CONTENT)


class HandEntries(Endpoint):
    """Wind entered by staff."""

    pointers: ClassVar = {"mean": "/mean_10_m_ms", "gust": "/gust_10_m_ms"}

    @operation("enter_wind", Run, status=HTTPStatus.CREATED, body=HandWind)
    def post(self, request: Asked, station: str) -> Response:
        """Enter the wind you expect; it counts before older forecasts of that time."""
        at, sent = self.station(station), self.body(HandWind)
        hour = services.HandHour(
            starts_at=sent["starts_at"],
            ends_at=sent["ends_at"],
            mean_ms=sent["mean_10_m_ms"],
            gust_ms=sent["gust_10_m_ms"],
            from_deg=sent["from_deg"],
        )
        run = services.enter_by_hand(actor=request.actor, station_id=at.pk, hour=hour, now=clock.now())
        return self.say(Run, run, HTTPStatus.CREATED)


class Files(Endpoint):
    """Files of wind."""

    parser_classes = (TextFile, CsvFile, JsonFile)
    pointers: ClassVar = {"file": ""}

    @operation(
        "take_weather_file",
        Took,
        status=HTTPStatus.CREATED,
        query=FileQuery,
        body={
            TextFile.media_type: OpenApiTypes.STR,
            CsvFile.media_type: OpenApiTypes.STR,
            JsonFile.media_type: OpenApiTypes.OBJECT,
        },
    )
    def post(self, request: Asked, station: str) -> Response:
        """Load a file: location forecast JSON, TAF or METAR text, a buoy's, or an anemometer's CSV."""
        at, content = self.station(station), self.sent.get("content", b"")
        given = self.query(FileQuery)
        took = services.take_file(
            actor=request.actor, station_id=at.pk, content=content, now=clock.now(), **given
        )
        return self.say(Took, took, HTTPStatus.CREATED)
