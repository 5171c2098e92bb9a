"""Launching: the sheet, the logged check, letting a rider go, noting them ashore."""

from http import HTTPStatus

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.kit import KitNo
from api.outings import KitPart, OutingWhole, seen, whole
from api.schema import operation
from api.shapes import Moment, Note, Out, Reason, Row, Text
from rentals.afloat import queries, services
from rentals.lib import clock
from rigging import checks

MOST_POINTS = 100
KEY = 40
REASON = 200


class Point(Out):
    """One thing to look at."""

    key = serializers.CharField(help_text="Stays when the wording changes.")
    text = serializers.CharField()


@extend_schema_field(Point)
class PointRow(Row):
    """A point as the list of points holds it."""

    names = ("key", "text")


class Gate(Out):
    """What stands between a rider and the water, or lets them through."""

    name = serializers.ChoiceField(sorted(checks.HARD_GATES))
    passed = serializers.BooleanField()
    hard = serializers.BooleanField(help_text="An instructor's reason opens a soft gate, never a hard one.")
    text = serializers.CharField()
    reason = Reason()


class LaunchSheet(Out):
    """An outing as the instructor sees it before launch."""

    kit_no = serializers.IntegerField(source="outing.kit_no")
    kit = KitPart(many=True)
    points = serializers.ListField(child=PointRow())
    list_version = serializers.IntegerField(
        source="listed.version", help_text="Of the check list; nought is the usual one."
    )
    gates = Gate(many=True)
    caution = serializers.CharField()


class LoggedPoint(Point):
    """A point as it was found."""

    passed = serializers.BooleanField()


class LoggedGate(Out):
    """A gate as it stood."""

    name = serializers.CharField()
    passed = serializers.BooleanField()
    hard = serializers.BooleanField()
    text = serializers.CharField()
    rule = serializers.CharField()


class LaunchCheck(Out):
    """A logged launch check. One that did not pass is kept too."""

    id = serializers.IntegerField()
    kit_no = serializers.IntegerField()
    at = Moment()
    passed = serializers.BooleanField(help_text="Every gate is open, or opened with a reason.")
    points = LoggedPoint(many=True)
    gates = LoggedGate(many=True)
    overrides = serializers.DictField(child=serializers.CharField(), help_text="Reasons by gate.")
    note = serializers.CharField()
    state = serializers.CharField(source="outing.state", help_text="Of the outing, by the check.")


class NewCheck(KitNo):
    """A launch check as it was gone through."""

    ticked = serializers.ListField(
        child=Text(most=KEY), max_length=MOST_POINTS, help_text="Points that passed."
    )
    overrides = serializers.DictField(
        child=Text(most=REASON), default=dict, help_text="Your reason for each soft gate that you open."
    )
    note = Note()
    list_version = serializers.IntegerField(
        min_value=0,
        allow_null=True,
        default=None,
        help_text="Of the list that you went through: refused when it was edited meanwhile.",
    )
    launch = serializers.BooleanField(default=False, help_text="Let the rider go at once when it passes.")


class Sheet(Endpoint):
    """What to look at before a launch."""

    @operation("get_launch_sheet", LaunchSheet)
    def get(self, request: Asked, outing_id: int) -> Response:
        """Return the points to look at and the gates as they stand now."""
        outing = seen(self, outing_id)
        return self.say(LaunchSheet, queries.launch_sheet(outing, ticked=None, now=clock.now()))


class Checks(Endpoint):
    """Launch checks of an outing."""

    @operation("check_launch", LaunchCheck, status=HTTPStatus.CREATED, body=NewCheck, once=True)
    def post(self, request: Asked, outing_id: int) -> Response:
        """Log a launch check; when it passes the outing is cleared, and with `launch` afloat."""
        outing, sent, once = seen(self, outing_id), self.body(NewCheck), self.once()
        sent["ticked"] = frozenset(sent["ticked"])
        check = services.check_launch(
            actor=request.actor, outing_id=outing.pk, **sent, once=once, now=clock.now()
        )
        return self.say(LaunchCheck, check, HTTPStatus.CREATED)


class Launch(Endpoint):
    """Letting a rider go."""

    @operation("launch", OutingWhole)
    def post(self, request: Asked, outing_id: int) -> Response:
        """Let a cleared rider go afloat, if every gate is still open."""
        services.launch(actor=request.actor, outing_id=outing_id, now=clock.now())
        return whole(self, outing_id)


class Ashore(Endpoint):
    """Noting a rider ashore."""

    @operation("call_ashore", OutingWhole)
    def post(self, request: Asked, outing_id: int) -> Response:
        """Note that a rider is back on the beach; saying it twice changes nothing."""
        services.call_ashore(actor=request.actor, outing_id=outing_id, now=clock.now())
        return whole(self, outing_id)
