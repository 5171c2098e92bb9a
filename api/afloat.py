"""Afloat: everybody on the water, sightings, later due times, recalls and head counts."""

from http import HTTPStatus
from typing import Any

from rest_framework import serializers
from rest_framework.response import Response

from api.beach import BeachNow
from api.endpoint import Asked, Endpoint
from api.outings import OutingShape, OutingWhole, seen, whole
from api.schema import operation
from api.shapes import In, Moment, Note, Number, Out, Text
from api.today import Lateness
from rentals.afloat import queries, services
from rentals.afloat.models import FURTHEST_M, MOST_HEADS, PHASES
from rentals.lib import clock
from rentals.lib.problems import NotVisible
from rigging import checks


class LastSeen(Out):
    """When a rider was last known to be somewhere."""

    at = Moment()
    by = serializers.CharField(help_text="Empty for the launch itself.")
    bearing_deg = serializers.FloatField(allow_null=True, help_text="From the station, true.")
    distance_m = serializers.FloatField(allow_null=True)
    latitude_deg = serializers.FloatField(allow_null=True)
    longitude_deg = serializers.FloatField(allow_null=True)
    in_trouble = serializers.BooleanField()
    note = serializers.CharField()
    launched = serializers.BooleanField(help_text="Nobody has seen the rider since the launch.")


class Alarm(Out):
    """The highest overdue phase raised for the due time."""

    phase = serializers.ChoiceField(PHASES)
    raised_at = Moment()
    calls = serializers.IntegerField(help_text="How often it was told, each time louder.")
    taken_by = serializers.CharField(help_text="Who has taken it on; empty when nobody has.")
    taken_at = Moment(allow_null=True)


class RiderOut(Out):
    """One rider on the water."""

    outing = OutingShape()
    lateness = Lateness(source="result")
    minutes_left = serializers.IntegerField(help_text="Negative when overdue.")
    sail = serializers.CharField()
    board = serializers.CharField()
    colours = serializers.CharField(help_text="As staff entered them.")
    last_seen = LastSeen()
    alarm = Alarm(allow_null=True)
    too_windy = serializers.CharField(help_text="Empty while the wind is within the level's limit.")


class Recall(Out):
    """Everybody called ashore."""

    at = Moment()
    by = serializers.CharField(source="by.shown_name")
    reason = serializers.CharField()


class HeadCount(Out):
    """Riders counted on the water beside those logged there."""

    at = Moment()
    by = serializers.CharField(source="by.shown_name")
    counted = serializers.IntegerField()
    logged = serializers.IntegerField()


class AfloatNow(Out):
    """Everybody on the water of a station."""

    riders = RiderOut(many=True, help_text="The latest first.")
    beach = BeachNow()
    recall = Recall(allow_null=True)
    head_count = HeadCount(source="count", allow_null=True)
    lightning_until = Moment(allow_null=True)
    watch_missed = serializers.CharField(help_text="Empty while the watch looks every few seconds.")
    caution = serializers.CharField(default=checks.RESCUE_FIRST)


class Sighting(Out):
    """A rider seen."""

    id = serializers.IntegerField()
    at = Moment()
    in_trouble = serializers.BooleanField()
    bearing_deg = serializers.FloatField(allow_null=True)
    distance_m = serializers.FloatField(allow_null=True)
    note = serializers.CharField()


class NewSighting(In):
    """A rider seen just now; place by bearing and distance from the station, both or neither."""

    in_trouble = serializers.BooleanField(default=False, help_text="Raises distress at once, due or not.")
    bearing_deg = Number(low=0, high=359.99, allow_null=True, default=None)
    distance_m = Number(low=0, high=FURTHEST_M, allow_null=True, default=None)
    note = Note()


class Extension(In):
    """How much longer."""

    minutes = serializers.IntegerField(min_value=1, max_value=services.LONGEST_EXTENSION_MIN)
    reason = Text(
        most=services.LONGEST_NOTE, default="", allow_blank=True, help_text="Opens a soft gate that is shut."
    )


class Taken(Out):
    """How many phases were taken on."""

    taken = serializers.IntegerField(help_text="None when a colleague was quicker.")


class NewCount(In):
    """A head count."""

    counted = serializers.IntegerField(min_value=0, max_value=MOST_HEADS)


class NewRecall(In):
    """Why everybody is called in."""

    reason = Text(most=services.LONGEST_NOTE, default="", allow_blank=True)


class Mistake(In):
    """How you know that it was a mistake."""

    reason = Text(most=services.LONGEST_REASON)


class TakenBack(Out):
    """Lightning taken back."""

    at = Moment()
    reason = serializers.CharField()


class Afloat(Endpoint):
    """The water of a station."""

    @operation("get_afloat", AfloatNow)
    def get(self, request: Asked, station: str) -> Response:
        """Return everybody on the water."""
        at, now = self.station(station), clock.now()
        page: Any = queries.afloat_page(at, now=now, parties=True)
        shown = {
            name: getattr(page, name) for name in ("riders", "beach", "recall", "count", "lightning_until")
        }
        return self.say(AfloatNow, {**shown, "watch_missed": queries.missed(at, now)})


class Sightings(Endpoint):
    """Sightings of a rider."""

    @operation("log_sighting", Sighting, status=HTTPStatus.CREATED, body=NewSighting, once=True)
    def post(self, request: Asked, outing_id: int) -> Response:
        """Log a rider seen on the water; one in trouble is in distress at once."""
        outing, sent = seen(self, outing_id), services.Seen(**self.body(NewSighting))
        sighting = services.see(
            actor=request.actor, outing_id=outing.pk, seen=sent, once=self.once(), now=clock.now()
        )
        return self.say(Sighting, sighting, HTTPStatus.CREATED)


class Extend(Endpoint):
    """A later due time."""

    @operation("extend_outing", OutingWhole, body=Extension, once=True)
    def post(self, request: Asked, outing_id: int) -> Response:
        """Give a rider on the water more time, where kit, light and wind allow it."""
        seen(self, outing_id)
        services.extend(
            actor=request.actor,
            outing_id=outing_id,
            **self.body(Extension),
            once=self.once(),
            now=clock.now(),
        )
        return whole(self, outing_id)


class SwapKit(Endpoint):
    """Other kit for the time that is left."""

    @operation("swap_kit", OutingWhole, status=HTTPStatus.CREATED, once=True)
    def post(self, request: Asked, outing_id: int) -> Response:
        """Note a rider ashore to change kit; answers with the outing of the time that is left."""
        seen(self, outing_id)
        rest = services.swap_kit(actor=request.actor, outing_id=outing_id, once=self.once(), now=clock.now())
        answer = whole(self, rest.pk)
        answer.status_code = HTTPStatus.CREATED
        return answer


class Acknowledge(Endpoint):
    """Taking an alarm on."""

    @operation("acknowledge_alarm", Taken)
    def post(self, request: Asked, outing_id: int) -> Response:
        """Take every raised phase of an outing on, by your name."""
        seen(self, outing_id)
        taken = services.acknowledge(actor=request.actor, outing_id=outing_id, now=clock.now())
        return self.say(Taken, {"taken": taken})


class HeadCounts(Endpoint):
    """Head counts of a station."""

    @operation("log_head_count", HeadCount, status=HTTPStatus.CREATED, body=NewCount, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Log how many riders you count on the water."""
        at = self.station(station)
        count = services.count_heads(
            actor=request.actor,
            station_id=at.pk,
            counted=self.body(NewCount)["counted"],
            once=self.once(),
            now=clock.now(),
        )
        return self.say(HeadCount, count, HTTPStatus.CREATED)


class Recalls(Endpoint):
    """The recall of a station."""

    @operation("recall_all", Recall, status=HTTPStatus.CREATED, body=NewRecall, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Call everybody ashore; nobody launches until it is lifted."""
        at = self.station(station)
        called = services.recall(
            actor=request.actor,
            station_id=at.pk,
            reason=self.body(NewRecall)["reason"],
            once=self.once(),
            now=clock.now(),
        )
        return self.say(Recall, called, HTTPStatus.CREATED)

    @operation("lift_recall", status=HTTPStatus.NO_CONTENT)
    def delete(self, request: Asked, station: str) -> Response:
        """Let riders launch again; lifting twice changes nothing."""
        services.lift_recall(actor=request.actor, station_id=self.station(station).pk, now=clock.now())
        return Response(status=HTTPStatus.NO_CONTENT)


class NoLightning(Endpoint):
    """Lightning logged by mistake."""

    @operation("take_back_lightning", TakenBack, body=Mistake)
    def post(self, request: Asked, station: str) -> Response:
        """Take back the newest lightning of the log; the line stays, with who took it back and why."""
        at, now = self.station(station), clock.now()
        reason = self.body(Mistake)["reason"]
        log = queries.beach_now(at, now=now).lightning_log
        if log is None:
            raise NotVisible("There is no lightning in the log of the last hours.")
        correction = services.take_back_lightning(actor=request.actor, log_id=log.pk, reason=reason, now=now)
        return self.say(TakenBack, correction)
