"""Bookings: a party is promised its outings."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.outings import OutingShape
from api.paging import PageQuery
from api.riders import NAME, PHONE, RiderFacts
from api.schema import operation
from api.shapes import Choice, Id, In, Moment, Note, Out, Text
from rentals.bookings import services
from rentals.bookings.models import Booking, Outing
from rentals.lib import clock
from rentals.lib.problems import NotVisible
from rentals.people import services as people


class BookingBrief(Out):
    """What a party is promised."""

    id = serializers.IntegerField()
    kind = serializers.ChoiceField(Booking.Kind.choices)
    contact_name = serializers.CharField(source="party.contact_name")
    contact_phone = serializers.CharField(source="party.contact_phone")
    contact_email = serializers.CharField(source="party.contact_email")
    booked_at = Moment()
    note = serializers.CharField()


class BookingShape(BookingBrief):
    """A booking with its outings."""

    station = serializers.CharField(source="party.station.slug")
    outings = OutingShape(many=True)


class Contact(In):
    """Who speaks for the party; a phone number or an address is needed."""

    name = Text(most=NAME)
    phone = Note(most=PHONE)
    email = serializers.EmailField(required=False)


class NewBooking(In):
    """A party, its time, and one rider or more."""

    contact = Contact()
    kind = Choice(Booking.Kind.choices)
    starts_at = Moment()
    ends_at = Moment(help_text="Within one opening day of the station.")
    rider_ids = serializers.ListField(
        child=Id(), default=list, max_length=services.MOST_RIDERS, help_text="Riders known at the station."
    )
    new_riders = serializers.ListField(
        child=RiderFacts(), default=list, max_length=services.MOST_RIDERS, help_text="Riders met just now."
    )
    note = Note()


class Bookings(Endpoint):
    """Bookings of a station."""

    @operation("list_bookings", BookingBrief, many=True, query=PageQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List bookings, the newest first."""
        rows = Booking.objects.filter(party__station=self.station(station)).select_related("party")
        return self.page(BookingBrief, rows, "-booked_at", self.query(PageQuery))

    @operation("book_party", BookingShape, status=HTTPStatus.CREATED, body=NewBooking, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Promise a party its outings, one for each rider."""
        at, sent = self.station(station), self.body(NewBooking)
        booking = services.book_party(
            actor=request.actor,
            station_id=at.pk,
            contact=services.Contact(**sent["contact"]),
            kind=sent["kind"],
            starts_at=sent["starts_at"],
            ends_at=sent["ends_at"],
            riders=_riders(sent),
            note=sent["note"],
            once=self.once(),
            now=clock.now(),
        )
        return _answer(self, booking.pk, HTTPStatus.CREATED)

    def pointer_of(self, name: str) -> str:
        """Return where the body holds what the service calls `contact_name` or `riders.2.mass_kg`."""
        whose, _, field = name.partition("_")
        if whose == "contact":
            return f"/contact/{field}"
        if not name.startswith("riders"):
            return super().pointer_of(name)
        known = len(self.sent.get("rider_ids", ()))
        number, _, field = name.removeprefix("riders.").partition(".")
        if not number.isdigit():
            return "/new_riders"
        at = int(number)
        return f"/rider_ids/{at}" if at < known else f"/new_riders/{at - known}/{field}"


class OneBooking(Endpoint):
    """One booking."""

    @operation("get_booking", BookingShape)
    def get(self, request: Asked, booking_id: int) -> Response:
        """Return a booking with its outings."""
        return _answer(self, booking_id)


def _riders(sent: Mapping[str, Any]) -> list[people.RiderFacts | int]:
    return [*sent["rider_ids"], *(people.RiderFacts(**facts) for facts in sent["new_riders"])]


def _answer(endpoint: Endpoint, booking_id: int, status: int = HTTPStatus.OK) -> Response:
    """Answer with a booking as it stands: two queries."""
    seen = Booking.objects.filter(party__station_id__in=endpoint.request.actor.station_ids)
    booking: Any = seen.select_related("party__station").filter(pk=booking_id).first()
    if booking is None:
        raise NotVisible("There is no such booking here.")
    endpoint.on_clock_of(booking.party.station)
    booking.outings = Outing.objects.filter(booking=booking).with_faces().order_by("id")
    return endpoint.say(BookingShape, booking, status)
