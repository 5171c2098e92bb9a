"""Incidents: telling, correcting, following up, closing; and the list of them without names."""

from http import HTTPStatus
from typing import ClassVar

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.paging import PageQuery
from api.schema import operation
from api.shapes import Choice, Id, In, ItemBrief, Moment, Note, Out, RiderBrief, Text
from rentals.incidents import queries, services
from rentals.incidents.models import Cause, FollowUp, Incident, Kind, Severity, Telling
from rentals.lib import clock
from rentals.lib.problems import NotVisible

MOST_ITEMS = 40


class WeatherThen(Out):
    """The weather of the moment, as it was measured, logged or forecast; null where nobody knows."""

    known = serializers.CharField(help_text="`measured`, `forecast` or `unknown`.")
    mean_10_m_ms = serializers.FloatField(allow_null=True)
    gust_10_m_ms = serializers.FloatField(allow_null=True)
    from_deg = serializers.FloatField(allow_null=True)
    shore = serializers.CharField(allow_null=True)
    water_c = serializers.FloatField(allow_null=True)
    air_c = serializers.FloatField(allow_null=True)


class TellingShape(Out):
    """What happened, as told; the one with the highest version is in force."""

    incident_id = serializers.IntegerField()
    version = serializers.IntegerField()
    at = Moment(help_text="When it was told.")
    why = serializers.CharField(help_text="Why it corrects the one before; empty for the first.")
    kind = serializers.ChoiceField(Kind.choices)
    severity = serializers.ChoiceField(Severity.choices)
    cause = serializers.ChoiceField(Cause.choices)
    happened_at = Moment()
    place = serializers.CharField()
    words = serializers.CharField()
    witness = serializers.CharField()
    outing_id = serializers.IntegerField(allow_null=True)
    rider = RiderBrief(allow_null=True)
    weather = WeatherThen()


class FollowUpShape(Out):
    """What was done about an incident."""

    id = serializers.IntegerField()
    at = Moment()
    step = serializers.ChoiceField(FollowUp.Step.choices)
    words = serializers.CharField()


class IncidentShape(Out):
    """An incident with every telling, every item and everything done since."""

    id = serializers.IntegerField(source="incident.pk")
    reported_at = Moment(source="incident.reported_at")
    closed = serializers.BooleanField()
    tellings = TellingShape(many=True)
    items = ItemBrief(many=True, source="involved")
    follow_ups = FollowUpShape(many=True)


class NamelessShape(Out):
    """An incident as it may be passed on; empty where nobody knows."""

    month = serializers.CharField()
    hour = serializers.IntegerField(help_text="Of the station's day.")
    kind = serializers.CharField()
    severity = serializers.CharField()
    cause = serializers.CharField()
    level = serializers.CharField()
    age = serializers.CharField(help_text="A band of years.")
    booking = serializers.CharField()
    item_kinds = serializers.CharField()
    wind_kn = serializers.CharField(help_text="Mean on the beach.")
    gust_kn = serializers.CharField()
    shore = serializers.CharField()
    water_c = serializers.CharField()
    closed = serializers.CharField()


class Told(In):
    """What happened."""

    kind = Choice(Kind.values)
    severity = Choice(Severity.values)
    cause = Choice(Cause.values, default=Cause.UNKNOWN)
    happened_at = Moment()
    words = Text(most=services.WORDS)
    place = Note()
    witness = Note()
    outing_id = Id(allow_null=True, default=None)
    rider_id = Id(allow_null=True, default=None, help_text="The outing's rider when left out.")
    item_ids = serializers.ListField(
        child=Id(), max_length=MOST_ITEMS, default=list, help_text="Items involved; held back at once."
    )


class Correction(Told):
    """All of it as it should read, and why."""

    why = Text()
    version = serializers.IntegerField(
        min_value=1, allow_null=True, default=None, help_text="Of the telling that you read."
    )


class Done(In):
    """What was done, learnt or found."""

    words = Text(most=services.DONE)


class IncidentQuery(PageQuery):
    """Which incidents."""

    kind = Choice(Kind.values, required=False)


class Incidents(Endpoint):
    """Incidents of a station."""

    pointers: ClassVar = {"items": "/item_ids"}

    @operation("list_incidents", TellingShape, many=True, query=IncidentQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List incidents as they are told now, in the order in which they were reported."""
        asked = self.query(IncidentQuery)
        kind = {"kind": asked["kind"]} if "kind" in asked else {}
        tellings = Telling.objects.newest().filter(incident__station=self.station(station), **kind)
        return self.page(TellingShape, tellings.select_related("rider"), "incident_id", asked)

    @operation("report_incident", IncidentShape, status=HTTPStatus.CREATED, body=Told, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Report an incident; the weather is filled in, and its items are held back at once."""
        at, sent, once = self.station(station), self.body(Told), self.once()
        items = sent.pop("item_ids")
        made = services.report_incident(
            actor=request.actor,
            station_id=at.pk,
            told=services.Told(**sent),
            item_ids=items,
            once=once,
            now=clock.now(),
        )
        return whole(self, made.pk, HTTPStatus.CREATED)


class NamelessIncidents(Endpoint):
    """Incidents without names."""

    @operation("list_incidents_without_names", NamelessShape, many=True)
    def get(self, request: Asked, station: str) -> Response:
        """List every incident without names, free words or exact times, oldest first."""
        rows = queries.nameless(self.station(station))
        return Response(NamelessShape(rows, many=True).data)


class OneIncident(Endpoint):
    """One incident."""

    @operation("get_incident", IncidentShape)
    def get(self, request: Asked, incident_id: int) -> Response:
        """Return an incident with everything about it."""
        return whole(self, incident_id)


class Corrections(Endpoint):
    """Corrections of an incident."""

    pointers: ClassVar = {"items": "/item_ids"}

    @operation("correct_incident", IncidentShape, status=HTTPStatus.CREATED, body=Correction)
    def post(self, request: Asked, incident_id: int) -> Response:
        """Tell an incident anew; what was told before stays."""
        sent = self.body(Correction)
        others = {name: sent.pop(name) for name in ("item_ids", "why", "version")}
        services.correct_incident(
            actor=request.actor,
            incident_id=incident_id,
            told=services.Told(**sent),
            **others,
            now=clock.now(),
        )
        return whole(self, incident_id, HTTPStatus.CREATED)


class FollowUps(Endpoint):
    """What was done about an incident."""

    @operation("follow_up_incident", IncidentShape, status=HTTPStatus.CREATED, body=Done, once=True)
    def post(self, request: Asked, incident_id: int) -> Response:
        """Note what was done."""
        services.follow_up(
            actor=request.actor,
            incident_id=incident_id,
            **self.body(Done),
            once=self.once(),
            now=clock.now(),
        )
        return whole(self, incident_id, HTTPStatus.CREATED)


class CloseIncident(Endpoint):
    """Closing."""

    @operation("close_incident", IncidentShape, body=Done)
    def post(self, request: Asked, incident_id: int) -> Response:
        """Close an incident with what was learnt."""
        services.close_incident(
            actor=request.actor, incident_id=incident_id, **self.body(Done), now=clock.now()
        )
        return whole(self, incident_id)


class ReopenIncident(Endpoint):
    """Opening again."""

    @operation("reopen_incident", IncidentShape, body=Done)
    def post(self, request: Asked, incident_id: int) -> Response:
        """Open a closed incident again."""
        services.reopen_incident(
            actor=request.actor, incident_id=incident_id, **self.body(Done), now=clock.now()
        )
        return whole(self, incident_id)


def whole(endpoint: Endpoint, incident_id: int, status: int = HTTPStatus.OK) -> Response:
    """Answer with an incident on its station's clock: four queries."""
    seen = Incident.objects.visible_to(endpoint.request.actor).select_related("station", "reported_by")
    incident = seen.filter(pk=incident_id).first()
    if incident is None:
        raise NotVisible("There is no such incident here.")
    endpoint.on_clock_of(incident.station)
    return endpoint.say(IncidentShape, queries.whole_of(incident), status)
