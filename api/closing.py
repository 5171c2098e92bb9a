"""The closing round of a station's day."""

from datetime import date
from http import HTTPStatus
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.launches import Point, PointRow
from api.schema import operation
from api.shapes import Day, In, ItemBrief, Moment, Note, Out, RiderBrief, Text
from rentals.incidents import queries, services
from rentals.incidents.models import Closing as Line
from rentals.lib import clock
from rentals.stations.models import Station
from rigging.checks.lists import CLOSING

MOST_POINTS = 20
KEY = 40


class StillAfloat(Out):
    """A rider afloat by the log."""

    outing_id = serializers.IntegerField(source="pk")
    rider = RiderBrief()
    ends_at = Moment()


class NotBack(Out):
    """An item with a rider who is not afloat."""

    item = ItemBrief()
    outing_id = serializers.IntegerField()
    issued_at = Moment()


class Turn(Out):
    """A signature, or an opening again."""

    turn = serializers.IntegerField()
    step = serializers.ChoiceField(Line.Step.choices)
    at = Moment()
    name = serializers.CharField()
    note = serializers.CharField()


class ClosingShape(Out):
    """A day at closing time."""

    day = serializers.DateField()
    signed = serializers.SerializerMethodField()
    may_sign = serializers.BooleanField(help_text="Nobody is afloat.")
    points = serializers.SerializerMethodField()
    afloat = StillAfloat(many=True)
    missing = NotBack(many=True)
    turns = Turn(many=True)

    def get_signed(self, found: queries.OpenDay) -> bool:
        return found.signed is not None

    @extend_schema_field(Point(many=True))
    def get_points(self, found: queries.OpenDay) -> list[dict[str, Any]]:
        return [PointRow().to_representation(line) for line in CLOSING]


class ClosingQuery(In):
    """Which day."""

    day = Day(required=False, help_text="Today when left out.")


class Signing(In):
    """The round as it was gone."""

    day = Day(required=False, help_text="Today when left out.")
    ticked = serializers.ListField(child=Text(most=KEY), max_length=MOST_POINTS)
    name = Text(most=services.NAME, help_text="The person who went round.")
    note = Text(most=services.NOTE, required=False, allow_blank=True, default="")


class OpeningAgain(In):
    """Why a signed day is opened again."""

    day = Day(required=False, help_text="Today when left out.")
    name = Text(most=services.NAME)
    note = Note()


class Closing(Endpoint):
    """The closing round."""

    @operation("get_closing", ClosingShape, query=ClosingQuery)
    def get(self, request: Asked, station: str) -> Response:
        """Say who is afloat and what is not back, and who signed."""
        at = self.station(station)
        return answer(self, at, day_of(at, self.query(ClosingQuery)))

    @operation("sign_day", ClosingShape, status=HTTPStatus.CREATED, body=Signing, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Sign a day off; refused while somebody is afloat."""
        at, sent = self.station(station), self.body(Signing)
        sent |= {"day": day_of(at, sent), "ticked": frozenset(sent["ticked"])}
        services.sign_day(actor=request.actor, station_id=at.pk, **sent, once=self.once(), now=clock.now())
        return answer(self, at, sent["day"], HTTPStatus.CREATED)

    def pointer_of(self, name: str) -> str:
        """Return the list of ticks for what the service says of one point."""
        return "/ticked" if name.startswith("point.") else super().pointer_of(name)


class ReopenDay(Endpoint):
    """Opening a signed day again."""

    @operation("reopen_day", ClosingShape, status=HTTPStatus.CREATED, body=OpeningAgain)
    def post(self, request: Asked, station: str) -> Response:
        """Open a signed day again; the signature stays on record."""
        at, sent = self.station(station), self.body(OpeningAgain)
        sent["day"] = day_of(at, sent)
        services.reopen_day(actor=request.actor, station_id=at.pk, **sent, now=clock.now())
        return answer(self, at, sent["day"], HTTPStatus.CREATED)


def day_of(station: Station, asked: dict[str, Any]) -> date:
    """Return the day that is asked for, today by default."""
    day: date = asked.get("day") or station.local(clock.now()).date()
    return day


def answer(endpoint: Endpoint, station: Station, day: date, status: int = HTTPStatus.OK) -> Response:
    """Answer with the day as it stands."""
    return endpoint.say(ClosingShape, queries.closing_of(station, day, now=clock.now()), status)
