"""Outings: the list of a day, one with its kit and its story, and calling one off."""

from datetime import date
from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.paging import PageQuery
from api.schema import operation
from api.shapes import Choice, Day, Entry, In, ItemBrief, Moment, Note, Out, Reason, RiderBrief, Text
from api.takings import MoneyField
from rentals.bookings import queries as bookings
from rentals.bookings.models import Booking, Outing
from rentals.bookings.states import OutingState
from rentals.desk import queries as desk
from rentals.fleet.models import Kind
from rentals.lib import clock
from rentals.lib.access import Actor
from rentals.lib.problems import NotVisible
from rentals.lib.when import day_bounds
from rentals.stations.models import Station
from rentals.takings import queries as takings_queries
from rentals.takings import services as takings


class OutingShape(Out):
    """One rider's time on the water."""

    id = serializers.IntegerField()
    booking_id = serializers.IntegerField()
    kind = serializers.ChoiceField(Booking.Kind.choices, source="booking.kind")
    contact_name = serializers.CharField(source="booking.party.contact_name")
    rider = RiderBrief()
    starts_at = Moment()
    ends_at = Moment()
    state = serializers.ChoiceField([state.value for state in OutingState])
    kit_no = serializers.IntegerField(help_text="Rises with each kit chosen; 0 before the first.")
    launched_at = Moment(allow_null=True)
    ashore_at = Moment(allow_null=True)
    closed_at = Moment(allow_null=True)


class KitPart(Out):
    """One item of an outing's kit."""

    part = serializers.ChoiceField(Kind.choices)
    item = ItemBrief()
    issued_at = Moment(allow_null=True)
    returned_at = Moment(allow_null=True)


class OutingWhole(OutingShape):
    """An outing with its kit in force and the newest lines of its journal."""

    station = serializers.CharField(source="station.slug")
    kit = KitPart(many=True, source="kit_in_force")
    journal = Entry(many=True)


class OutingQuery(PageQuery):
    """Which outings."""

    day = Day(required=False, help_text="That they start on, at the station; all when left out.")
    state = Choice([state.value for state in OutingState], required=False)
    kind = Choice(Booking.Kind.choices, required=False)


class Cancelling(In):
    """Why an outing is called off."""

    reason = Text()
    missed = serializers.BooleanField(default=False, help_text="The rider never came.")
    waive = Note(help_text="Why the fee is not taken; who waives one must be allowed to.")


class CancelQuery(In):
    """What is asked."""

    missed = serializers.BooleanField(default=False, help_text="For a rider who never came.")


class CancelQuoteShape(Out):
    """What calling an outing off costs by the rule that it was booked under."""

    fee = MoneyField()
    pass_minutes = serializers.IntegerField(
        source="cover.minutes",
        default=0,
        help_text="Of the pass that paid for the outing, in place of a fee.",
    )
    goes_back = MoneyField(help_text="Charged for the outing and taken back.")
    reason = Reason()


class Outings(Endpoint):
    """Outings of a station."""

    @operation("list_outings", OutingShape, many=True, query=OutingQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List outings by time."""
        asked = self.query(OutingQuery)
        rows = _asked_for(request.actor, self.station(station), asked)
        return self.page(OutingShape, rows, "starts_at", asked)


class OneOuting(Endpoint):
    """One outing."""

    @operation("get_outing", OutingWhole)
    def get(self, request: Asked, outing_id: int) -> Response:
        """Return an outing with its kit and its story."""
        return whole(self, outing_id)


class Cancel(Endpoint):
    """Calling one off."""

    @operation("quote_cancelling", CancelQuoteShape, query=CancelQuery, needs_setup=True)
    def get(self, request: Asked, outing_id: int) -> Response:
        """Say what calling an outing off would cost now, and why; nothing is done."""
        missed, outing = self.query(CancelQuery)["missed"], seen(self, outing_id)
        (quote,) = takings_queries.cancel_quotes([outing], missed=missed, now=clock.now())
        return self.say(CancelQuoteShape, quote)

    @operation("cancel_outing", OutingWhole, body=Cancelling)
    def post(self, request: Asked, outing_id: int) -> Response:
        """Call an outing off, or note that its rider never came; its kit is free again, its money settled."""
        takings.cancel_outing(
            actor=request.actor, outing_id=outing_id, **self.body(Cancelling), now=clock.now()
        )
        return whole(self, outing_id)


def whole(endpoint: Endpoint, outing_id: int) -> Response:
    """Answer with an outing as it stands: three queries."""
    outing: Any = seen(endpoint, outing_id)
    outing.kit_in_force = bookings.kit_in_force(outing)
    outing.journal = desk.outing_journal(outing)
    return endpoint.say(OutingWhole, outing)


def seen(endpoint: Endpoint, outing_id: int) -> Outing:
    """Return an outing that the caller may see, on its station's clock: one query.

    Raises:
        NotVisible: there is none of that number for this actor.
    """
    outings = Outing.objects.visible_to(endpoint.request.actor).with_faces().select_related("station")
    outing = outings.filter(pk=outing_id).first()
    if outing is None:
        raise NotVisible("There is no such outing here.")
    endpoint.on_clock_of(outing.station)
    return outing


def _asked_for(actor: Actor, station: Station, asked: dict[str, Any]) -> QuerySet[Outing]:
    outings = Outing.objects.visible_to(actor).filter(station=station).with_faces()
    day: date | None = asked.get("day")
    if day is not None:
        start, end = day_bounds(day, station.zone)
        outings = outings.filter(starts_at__gte=start, starts_at__lt=end)
    if "state" in asked:
        outings = outings.filter(state=asked["state"])
    return outings.filter(booking__kind=asked["kind"]) if "kind" in asked else outings
