"""Riders' own kit in the station's racks."""

from http import HTTPStatus

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.schema import operation
from api.shapes import Choice, Day, In, Moment, Out, Text
from api.takings import CODE, party_at
from rentals.lib import clock
from rentals.takings import queries, services
from rentals.takings.mapping.quotes import MOST_OF_ONE
from rentals.takings.models import STORED_BY


class StoredShape(Out):
    """Own kit that a party pays to leave, both days included."""

    id = serializers.IntegerField()
    party_id = serializers.IntegerField()
    what = serializers.CharField()
    first_day = serializers.DateField()
    last_day = serializers.DateField()
    fetched_at = Moment(allow_null=True)


class StoredIn(In):
    """Own kit to take in; it is charged by the list."""

    good = Text(most=CODE)
    unit = Choice([unit.value for unit in STORED_BY])
    count = serializers.IntegerField(min_value=1, max_value=MOST_OF_ONE, default=1)
    first_day = Day()
    what = Text(most=60, help_text="Which kit, so that it is found again.")


class StoredHere(Endpoint):
    """Own kit in the racks."""

    @operation("list_stored", StoredShape, many=True)
    def get(self, request: Asked, station: str) -> Response:
        """Return what is stored and was not fetched, the one whose time ends first first."""
        at = self.station(station)
        found = queries.stored_at(at, at.local(clock.now()).date())
        return Response(StoredShape([each.stored for each in found], many=True).data)


class StoreKit(Endpoint):
    """Own kit of a party."""

    @operation("store_kit", StoredShape, status=HTTPStatus.CREATED, body=StoredIn, once=True)
    def post(self, request: Asked, party_id: int) -> Response:
        """Take own kit of a party into the racks and charge it."""
        party_at(self, party_id)
        stored = services.store_kit(
            actor=request.actor, party_id=party_id, **self.body(StoredIn), once=self.once(), now=clock.now()
        )
        return self.say(StoredShape, stored, HTTPStatus.CREATED)


class FetchKit(Endpoint):
    """Own kit that is fetched."""

    @operation("fetch_kit", StoredShape)
    def post(self, request: Asked, stored_id: int) -> Response:
        """Note that stored kit was fetched."""
        stored = services.fetch_kit(actor=request.actor, stored_id=stored_id, now=clock.now())
        self.on_clock_of(stored.station)
        return self.say(StoredShape, stored)
