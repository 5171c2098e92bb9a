"""Passes paid ahead: season cards with their hours, weeks and seasons."""

from http import HTTPStatus

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.schema import operation
from api.shapes import Choice, Day, Id, In, Moment, Out, Text
from api.takings import CODE, party_at
from rentals.lib import clock
from rentals.lib.problems import NotVisible
from rentals.people.models import Rider
from rentals.takings import queries, services
from rentals.takings.models import AHEAD


class PassShape(Out):
    """A pass of a rider and what is left on it."""

    id = serializers.IntegerField(source="held.pk")
    rider_id = serializers.IntegerField(source="held.rider_id")
    party_id = serializers.IntegerField(source="held.charge.party_id", help_text="Who was charged.")
    text = serializers.CharField(source="held.charge.text")
    first_day = serializers.DateField(source="held.first_day")
    last_day = serializers.DateField(source="held.last_day")
    minutes = serializers.IntegerField(
        source="held.minutes", allow_null=True, help_text="On the pass when it was sold; null: not counted."
    )
    minutes_left = serializers.IntegerField(source="left", allow_null=True)
    sold_at = Moment(source="held.sold_at")


class PassIn(In):
    """A pass to sell."""

    rider_id = Id()
    good = Text(most=CODE)
    unit = Choice([unit.value for unit in AHEAD])
    first_day = Day()


class RiderPasses(Endpoint):
    """Passes of a rider."""

    @operation("list_passes", PassShape, many=True)
    def get(self, request: Asked, rider_id: int) -> Response:
        """Return what a rider has paid ahead and what is left, the one that ends first first."""
        rider = Rider.objects.visible_to(request.actor).select_related("station").filter(pk=rider_id).first()
        if rider is None:
            raise NotVisible("There is no such rider here.")
        self.on_clock_of(rider.station)
        return Response(PassShape(queries.passes_of([rider.pk]), many=True).data)


class SellPass(Endpoint):
    """Passes charged to a party."""

    @operation("sell_pass", PassShape, status=HTTPStatus.CREATED, body=PassIn, once=True)
    def post(self, request: Asked, party_id: int) -> Response:
        """Sell a rider a season card, a week or a season, charged to a party; later outings draw on it."""
        party_at(self, party_id)
        sold = services.sell_pass(
            actor=request.actor, party_id=party_id, **self.body(PassIn), once=self.once(), now=clock.now()
        )
        (held,) = (each for each in queries.passes_of([sold.rider_id]) if each.held == sold)
        return self.say(PassShape, held, HTTPStatus.CREATED)
