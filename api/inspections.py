"""Inspections: what is due, what is on record, and logging one."""

from http import HTTPStatus
from typing import ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.paging import PageQuery
from api.schema import operation
from api.shapes import Id, In, ItemBrief, Moment, Note, Number, Out, Reason, Text
from rentals.bench import queries, services
from rentals.bench.models import MOST_CARRIED_KG, Inspection
from rentals.lib import clock

NAME = 80
MOST_POINTS = 50


class LookedAt(Out):
    """One point of the list that was looked at."""

    text = serializers.CharField()
    ok = serializers.BooleanField()


@extend_schema_field(LookedAt(many=True))
class Points(serializers.JSONField):
    """The points as they were when it was looked at."""


class InspectionShape(Out):
    """One inspection of one item."""

    id = serializers.IntegerField()
    item = ItemBrief()
    name = serializers.CharField()
    occasion = serializers.CharField()
    at = Moment()
    passed = serializers.BooleanField()
    points = Points()
    defects = serializers.CharField()
    carried_kg = serializers.FloatField(allow_null=True, help_text="Of a float test.")
    note = serializers.CharField()
    next_due = serializers.DateField(allow_null=True)


class InspectionDueShape(Out):
    """An inspection that is due, of one item."""

    item = ItemBrief()
    name = serializers.CharField(source="due.name")
    occasion = serializers.CharField(source="due.planned.occasion")
    points = serializers.ListField(child=serializers.CharField(), source="due.planned.points")
    due_on = serializers.DateField(source="due.stands.due_on", allow_null=True)
    used = serializers.FloatField(source="due.stands.used", help_text="Share of the interval; 1 is due.")
    held_back = serializers.BooleanField(source="held")
    reason = Reason(source="due.stands.reason")


class InspectionQuery(PageQuery):
    """Which inspections."""

    item_id = Id(required=False)
    name = Text(most=NAME, required=False)


class NewInspection(In):
    """What an inspection found."""

    name = Text(most=NAME)
    in_order = serializers.ListField(
        child=serializers.IntegerField(min_value=0, max_value=MOST_POINTS),
        max_length=MOST_POINTS,
        default=list,
        help_text="Points in order by their place in the list, from 0.",
    )
    defects = Note(help_text="What is wrong; needed for every point that is not in order.")
    carried_kg = Number(low=0, high=MOST_CARRIED_KG, allow_null=True, default=None)
    note = Note()


class Inspections(Endpoint):
    """Inspections of a station."""

    @operation("list_inspections", InspectionShape, many=True, query=InspectionQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List inspections on record, the newest first."""
        asked = self.query(InspectionQuery)
        wanted = {name: asked[name] for name in ("item_id", "name") if name in asked}
        records = Inspection.objects.filter(item__station=self.station(station), **wanted)
        return self.page(InspectionShape, records.select_related("item__model"), "-at", asked)


class InspectionsDue(Endpoint):
    """Inspections that are due."""

    @operation("list_inspections_due", InspectionDueShape, many=True)
    def get(self, request: Asked, station: str) -> Response:
        """List what is due now, the longest past due first; the weekly looks after it by kind."""
        at = self.station(station)
        found = queries.inspections_at(at, today=at.local(clock.now()).date())
        weekly = (row for rows in found.weekly.values() for row in rows if row.due.stands.due)
        return Response(InspectionDueShape([*found.due, *weekly], many=True).data)


class Inspect(Endpoint):
    """Inspecting an item."""

    pointers: ClassVar = {"items": ""}

    @operation("inspect", InspectionShape, status=HTTPStatus.CREATED, body=NewInspection, once=True)
    def post(self, request: Asked, item_id: int) -> Response:
        """Log an inspection; what fails goes to the bench, what passes may go out again."""
        sent, once = self.body(NewInspection), self.once()
        name, in_order = sent.pop("name"), frozenset(sent.pop("in_order"))
        made = services.inspect(
            actor=request.actor,
            item_id=item_id,
            name=name,
            found=services.Found(in_order=in_order, **sent),
            once=once,
            now=clock.now(),
        )
        kept = Inspection.objects.select_related("item__model", "item__station").get(pk=made.pk)
        self.on_clock_of(kept.item.station)
        return self.say(InspectionShape, kept, HTTPStatus.CREATED)
