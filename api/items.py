"""Items of the shed: the list, one with its life, reporting a fault, withdrawing."""

from http import HTTPStatus
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.jobs import JobShape
from api.jobs import answer as job_answer
from api.paging import PageQuery
from api.schema import operation
from api.shapes import Choice, Entry, In, ItemBrief, Out, Row, Text
from rentals.bench import queries, services
from rentals.fleet.models import Item, Kind
from rentals.fleet.states import ItemState
from rentals.lib import clock
from rentals.lib.problems import NotVisible

TAG = 12
STATES = [state.value for state in ItemState]


class ItemShape(ItemBrief):
    """One physical thing with a tag."""

    colour = serializers.CharField()
    water_s = serializers.IntegerField(help_text="Seconds on the water.")
    rig_ups = serializers.IntegerField()
    bought_on = serializers.DateField(allow_null=True)


class Spec(Out):
    """One number of a model, in words."""

    name = serializers.CharField()
    value = serializers.CharField()


@extend_schema_field(Spec)
class SpecRow(Row):
    """A number as the item's life holds it."""

    names = ("name", "value")


class ItemLife(ItemShape):
    """An item with its model's numbers, its jobs and the newest lines of its journal."""

    station = serializers.CharField(source="station.slug")
    spec = serializers.ListField(child=SpecRow())
    outings = serializers.IntegerField(help_text="Outings that put wear on it.")
    jobs = JobShape(many=True)
    journal = Entry(many=True)


class ItemQuery(PageQuery):
    """Which items."""

    kind = Choice(Kind.choices, required=False)
    state = Choice(STATES, required=False)
    tag = Text(most=TAG, required=False, help_text="The tag, to find one.")


class Fault(In):
    """What is wrong with an item."""

    fault = Text()


class Withdrawal(In):
    """Why an item is withdrawn."""

    reason = Text()


class Items(Endpoint):
    """Items of a station's shed."""

    @operation("list_items", ItemShape, many=True, query=ItemQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List the shed by tag."""
        asked = self.query(ItemQuery)
        named = {"kind": "model__kind", "state": "state", "tag": "tag__iexact"}
        wanted = {column: asked[name] for name, column in named.items() if name in asked}
        items = Item.objects.visible_to(request.actor).filter(station=self.station(station), **wanted)
        return self.page(ItemShape, items.select_related("model"), "tag", asked)


class OneItem(Endpoint):
    """One item."""

    @operation("get_item", ItemLife)
    def get(self, request: Asked, item_id: int) -> Response:
        """Return an item with its life."""
        return _answer(self, item_id)


class Faults(Endpoint):
    """Faults of an item."""

    @operation("report_fault", JobShape, status=HTTPStatus.CREATED, body=Fault, once=True)
    def post(self, request: Asked, item_id: int) -> Response:
        """Report a fault of an item in the shed: it goes to the bench at once."""
        fault, once = self.body(Fault)["fault"], self.once()
        job = services.report_fault(
            actor=request.actor, item_id=item_id, fault=fault, once=once, now=clock.now()
        )
        return job_answer(self, job, HTTPStatus.CREATED)


class Withdraw(Endpoint):
    """Withdrawing an item."""

    @operation("withdraw", ItemLife, body=Withdrawal, once=True)
    def post(self, request: Asked, item_id: int) -> Response:
        """Withdraw an item for good; its record stays."""
        services.withdraw(
            actor=request.actor,
            item_id=item_id,
            **self.body(Withdrawal),
            once=self.once(),
            now=clock.now(),
        )
        return _answer(self, item_id)


def _answer(endpoint: Endpoint, item_id: int) -> Response:
    """Answer with an item's life: eight queries."""
    seen = Item.objects.visible_to(endpoint.request.actor).select_related("station")
    found = seen.filter(pk=item_id).first()
    if found is None:
        raise NotVisible("There is no such item here.")
    endpoint.on_clock_of(found.station)
    today = found.station.local(clock.now()).date()
    life = queries.item_life(endpoint.request.actor, found.station, found.tag, today=today)
    item: Any = life.item
    item.station = found.station
    item.spec, item.outings, item.jobs, item.journal = life.spec, life.outings, life.jobs, life.entries
    return endpoint.say(ItemLife, item)
