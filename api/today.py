"""Today at one glance: who comes, who is out, who is late, and the next step of each outing."""

from rest_framework import serializers
from rest_framework.response import Response

from api.beach import BeachNow
from api.endpoint import Asked, Endpoint
from api.outings import OutingShape
from api.schema import operation
from api.shapes import Moment, Out, Reason
from api.weather import DayQuery, DayWind
from rentals.desk import queries
from rentals.lib import clock
from rigging import checks

PHASES = [phase.value for phase in checks.Phase]


class Lateness(Out):
    """Where an outing on the water stands against its due time."""

    phase = serializers.ChoiceField(PHASES)
    overdue_min = serializers.FloatField(help_text="Negative before it is due.")
    next_phase = serializers.ChoiceField(PHASES, allow_null=True)
    next_phase_at = Moment(allow_null=True)
    action = serializers.CharField(help_text="What to do now.")
    reason = Reason()


class BoardRow(Out):
    """One outing on the board."""

    outing = OutingShape()
    sail = serializers.CharField()
    board = serializers.CharField()
    next_step = serializers.CharField()
    late = serializers.BooleanField()
    lateness = Lateness(allow_null=True)


class Board(Out):
    """The day at one glance."""

    day = serializers.DateField()
    wind = DayWind()
    beach = BeachNow()
    rows = BoardRow(many=True)
    late = BoardRow(many=True, help_text="The worst first.")
    afloat = serializers.IntegerField()
    to_come = serializers.IntegerField()
    done = serializers.IntegerField()
    open_jobs = serializers.IntegerField()
    caution = serializers.CharField(default=checks.RESCUE_FIRST)


class Today(Endpoint):
    """The board of a day."""

    @operation("get_board", Board, query=DayQuery)
    def get(self, request: Asked, station: str) -> Response:
        """Return the day at one glance."""
        at, now = self.station(station), clock.now()
        day = self.query(DayQuery).get("day", at.local(now).date())
        return self.say(Board, queries.board(at, day, now=now))
