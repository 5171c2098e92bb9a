"""Check lists of a station: the list in force, and the next version of it."""

from http import HTTPStatus

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.schema import operation
from api.shapes import Choice, In, Moment, Note, Out, Text
from rentals.checklists import queries, services
from rentals.checklists.models import Check
from rentals.lib import clock
from rentals.lib.problems import NotVisible
from rentals.stations.models import Station

KEY, KIND = 40, 20


class ListLine(Out):
    """One thing to look at."""

    key = serializers.CharField(help_text="Stays while the line means the same.")
    kind = serializers.CharField(help_text="Of item, or `rider`.")
    text = serializers.CharField()
    levels = serializers.ListField(child=serializers.CharField(), help_text="Empty for all.")


class CheckListShape(Out):
    """A list as it stands. Version nought is the usual one."""

    check_for = serializers.ChoiceField(Check.choices, source="check")
    version = serializers.IntegerField()
    at = Moment(allow_null=True)
    by = serializers.CharField()
    lines = ListLine(many=True)


class WrittenLine(In):
    """A line; without a key it is new."""

    key = Text(most=KEY, required=False, allow_blank=True, default="")
    kind = Text(most=KIND)
    text = Text(most=services.TEXT)
    levels = serializers.ListField(child=Choice(queries.LEVELS), default=list, max_length=len(queries.LEVELS))


class NextVersion(In):
    """All of the list in order, and the version that was read."""

    version = serializers.IntegerField(min_value=0)
    lines = serializers.ListField(child=WrittenLine(), max_length=services.MOST_LINES)
    why = Note()


class StationCheckList(Endpoint):
    """One check list."""

    @operation("get_check_list", CheckListShape)
    def get(self, request: Asked, station: str, check: str) -> Response:
        """Return the list in force."""
        return self._answer(self._at(station, check), check)

    @operation("keep_check_list", CheckListShape, status=HTTPStatus.CREATED, body=NextVersion)
    def post(self, request: Asked, station: str, check: str) -> Response:
        """Keep the next version; checks logged against earlier ones keep their wording."""
        at, sent = self._at(station, check), self.body(NextVersion)
        sent["lines"] = [
            services.Written(**{**line, "levels": tuple(line["levels"])}) for line in sent["lines"]
        ]
        services.keep_list(actor=request.actor, station_id=at.pk, check=check, **sent, now=clock.now())
        return self._answer(at, check, HTTPStatus.CREATED)

    def _at(self, station: str, check: str) -> Station:
        found = self.station(station)
        if check not in Check.values:
            raise NotVisible("There is no such list. Ask for launch or return.")
        return found

    def _answer(self, station: Station, check: str, status: int = HTTPStatus.OK) -> Response:
        return self.say(CheckListShape, queries.in_force(station, check), status)
