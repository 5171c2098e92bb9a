"""Taking kit back, item by item."""

from http import HTTPStatus

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.outings import seen
from api.schema import operation
from api.shapes import Choice, Id, In, Moment, Note, Out
from rentals.bench import services
from rentals.lib import clock

FELT = ("under", "right", "over")
MOST_LINES = 20


class ReturnLine(In):
    """How one item came back."""

    item_id = Id()
    back = serializers.BooleanField()
    rinsed = serializers.BooleanField(default=False)
    fault = Note(help_text="What is wrong with it; it goes to the bench at once.")


class NewReturn(In):
    """What came back: a line for every item that is with the rider."""

    lines = serializers.ListField(child=ReturnLine(), max_length=MOST_LINES)
    felt = Choice(FELT, allow_blank=True, default="", help_text="How the sail felt.")
    stays_rigged = serializers.BooleanField(
        default=False, help_text="The rig stays built for the next rider."
    )
    note = Note()


class ReturnCheck(Out):
    """A logged return check."""

    id = serializers.IntegerField()
    at = Moment()
    felt = serializers.CharField()
    note = serializers.CharField()
    state = serializers.CharField(
        source="outing.state", help_text="Of the outing, by the check: closed when nothing is missing."
    )


class Returns(Endpoint):
    """Return checks of an outing."""

    @operation("take_back", ReturnCheck, status=HTTPStatus.CREATED, body=NewReturn, once=True)
    def post(self, request: Asked, outing_id: int) -> Response:
        """Log what came back and how; a rider still marked afloat is noted ashore by it."""
        outing, sent, once = seen(self, outing_id), self.body(NewReturn), self.once()
        sent["lines"] = [services.Came(**line) for line in sent["lines"]]
        check = services.take_back(
            actor=request.actor, outing_id=outing.pk, **sent, once=once, now=clock.now()
        )
        return self.say(ReturnCheck, check, HTTPStatus.CREATED)

    def pointer_of(self, name: str) -> str:
        """Return the line of what the service calls `fault_12`, by the item's number."""
        kind, _, number = name.partition("_")
        if kind != "fault":
            return super().pointer_of(name)
        told = [str(line["item_id"]) for line in self.sent["lines"]]
        return f"/lines/{told.index(number)}/fault"
