"""The distress sheet of an outing, and whom somebody told."""

from http import HTTPStatus

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.outings import KitPart, seen
from api.schema import operation
from api.shapes import In, Moment, Number, Out, Reason, RiderBrief, Text
from rentals.incidents import queries, services
from rentals.lib import clock
from rigging.drift import Current

MOST_CURRENT_MS = 5


class LastPlace(Out):
    """Where and when a rider was last known to be."""

    at = Moment(source="known.at")
    latitude_deg = serializers.FloatField(source="known.latitude_deg")
    longitude_deg = serializers.FloatField(source="known.longitude_deg")
    radius_m = serializers.FloatField(source="known.radius_m", help_text="Holds the true place at 95 %.")
    words = serializers.CharField()
    by = serializers.CharField()


class Area(Out):
    """Where to look, if this is what drifts."""

    drifter = serializers.CharField()
    until = Moment()
    latitude_deg = serializers.FloatField(help_text="Of the datum.")
    longitude_deg = serializers.FloatField()
    radius_m = serializers.FloatField(help_text="About the datum, at `confidence`.")
    confidence = serializers.FloatField()
    reason = Reason()


class Said(Out):
    """Who was told what when."""

    at = Moment()
    who = serializers.CharField()
    text = serializers.CharField()


class DistressSheet(Out):
    """What to tell the rescue service. Call them first; an estimate never delays a call."""

    outing_id = serializers.IntegerField(source="outing.pk")
    rider = RiderBrief(source="outing.rider")
    medical_note = serializers.CharField(
        source="medical.note", allow_null=True, default=None, help_text="Where the rider agrees to it."
    )
    worn = KitPart(many=True)
    kit = KitPart(many=True)
    last = LastPlace(allow_null=True)
    areas = Area(many=True, source="drifts")
    why_none = serializers.CharField(help_text="Why there is no area; empty where there is one.")
    lines = serializers.ListField(child=serializers.CharField(), help_text="To read out.")
    told = Said(many=True)
    caution = serializers.CharField()


class CurrentQuery(In):
    """The surface current as you know it: both or neither."""

    current_ms = Number(low=0, high=MOST_CURRENT_MS, required=False)
    toward_deg = Number(low=0, high=360, required=False)


class NewCall(In):
    """Whom you told just now."""

    whom = Text(most=services.WHOM)
    words = Text(most=services.SAID, required=False, allow_blank=True, default="")


class Distress(Endpoint):
    """The sheet."""

    @operation("get_distress_sheet", DistressSheet, query=CurrentQuery)
    def get(self, request: Asked, outing_id: int) -> Response:
        """Return the sheet of an outing as it stands now."""
        asked = self.query(CurrentQuery)
        whole = "current_ms" in asked and "toward_deg" in asked
        current = Current(speed_ms=asked["current_ms"], toward_deg=asked["toward_deg"]) if whole else None
        return sheet(self, outing_id, current=current)


class Calls(Endpoint):
    """Whom somebody told."""

    @operation("note_call", DistressSheet, status=HTTPStatus.CREATED, body=NewCall, once=True)
    def post(self, request: Asked, outing_id: int) -> Response:
        """Note that you told somebody of an outing in distress."""
        sent, once = self.body(NewCall), self.once()
        services.note_call(
            actor=request.actor, outing_id=seen(self, outing_id).pk, **sent, once=once, now=clock.now()
        )
        return sheet(self, outing_id, HTTPStatus.CREATED)


def sheet(
    endpoint: Endpoint, outing_id: int, status: int = HTTPStatus.OK, current: Current | None = None
) -> Response:
    """Answer with the sheet of an outing."""
    outing = seen(endpoint, outing_id)
    return endpoint.say(
        DistressSheet, queries.distress_sheet(outing, current=current, now=clock.now()), status
    )
