"""Riders known at a station."""

from datetime import date

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.paging import PageQuery
from api.schema import operation
from api.shapes import Choice, Day, In, Moment, Note, Out, RiderBrief, Tenths, Text
from rentals.lib import clock
from rentals.lib.problems import NotVisible
from rentals.people import services
from rentals.people.models import MASS_KG, STATURE_CM, Rider
from rentals.stations.models import LEVELS

FIRST_BIRTH = date(1900, 1, 1)
PHONE = 30
NAME = 120


class RiderShape(RiderBrief):
    """A rider with everything on record."""

    station = serializers.CharField(source="station.slug")
    born_on = serializers.DateField()
    swims = serializers.BooleanField(help_text="States that they can swim.")
    phone = serializers.CharField()
    waiver_signed_at = Moment(allow_null=True)
    guardian_name = serializers.CharField()
    guardian_phone = serializers.CharField()
    guardian_consent_at = Moment(allow_null=True)


class RiderFacts(In):
    """What is entered about a rider; `waiver` and `consent` say what was signed just now or before."""

    name = Text(most=NAME)
    born_on = Day(first=FIRST_BIRTH)
    mass_kg = Tenths(low=MASS_KG[0], high=MASS_KG[1])
    stature_cm = serializers.IntegerField(min_value=STATURE_CM[0], max_value=STATURE_CM[1])
    level = Choice(LEVELS)
    swims = serializers.BooleanField()
    phone = Note(most=PHONE)
    waiver = serializers.BooleanField(default=False)
    guardian_name = Note(most=NAME)
    guardian_phone = Note(most=PHONE)
    consent = serializers.BooleanField(default=False)


class MedicalNote(Out):
    """What helpers should know of a rider, kept with their word."""

    note = serializers.CharField(source="medical_note.note", allow_null=True, default=None)
    agreed_by = serializers.CharField(source="medical_note.agreed_by", allow_null=True, default=None)
    agreed_at = Moment(source="medical_note.agreed_at", allow_null=True, default=None)
    wording = serializers.CharField(source="medical_note.wording", allow_null=True, default=None)


class NewMedicalNote(In):
    """What helpers should know; an empty note removes it."""

    note = Note(most=services.MEDICAL_NOTE)
    agreed = serializers.BooleanField(help_text="The rider or guardian agrees that it is kept and shown.")
    agreed_by = Note(most=NAME, help_text="Needed for a minor: the guardian.")


class RiderQuery(PageQuery):
    """Which riders."""

    q = Text(most=NAME, required=False, help_text="Words that the name holds.")


class Riders(Endpoint):
    """Riders of a station."""

    @operation("list_riders", RiderBrief, many=True, query=RiderQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List riders by name."""
        asked = self.query(RiderQuery)
        riders = Rider.objects.visible_to(request.actor).filter(station=self.station(station))
        return self.page(RiderBrief, riders.named(asked.get("q", "")), "name", asked)


class OneRider(Endpoint):
    """One rider."""

    @operation("get_rider", RiderShape)
    def get(self, request: Asked, rider_id: int) -> Response:
        """Return a rider."""
        return self.say(RiderShape, self._rider(rider_id))

    @operation("change_rider", RiderShape, body=RiderFacts)
    def put(self, request: Asked, rider_id: int) -> Response:
        """Put a rider's facts in place of those on record."""
        facts = services.RiderFacts(**self.body(RiderFacts))
        services.change_rider(actor=request.actor, rider_id=rider_id, facts=facts, now=clock.now())
        return self.say(RiderShape, self._rider(rider_id))

    def _rider(self, rider_id: int) -> Rider:
        riders = Rider.objects.visible_to(self.request.actor).select_related("station")
        rider = riders.filter(pk=rider_id).first()
        if rider is None:
            raise NotVisible("There is no such rider here.")
        self.on_clock_of(rider.station)
        return rider


class RiderMedicalNote(OneRider):
    """What helpers should know of a rider."""

    @operation("get_medical_note", MedicalNote)
    def get(self, request: Asked, rider_id: int) -> Response:
        """Return a rider's medical note, where one is kept."""
        return self.say(MedicalNote, self._rider(rider_id))

    @operation("keep_medical_note", MedicalNote, body=NewMedicalNote)
    def put(self, request: Asked, rider_id: int) -> Response:
        """Keep a note in place of the one on record, or remove it."""
        services.keep_medical_note(
            actor=request.actor, rider_id=rider_id, **self.body(NewMedicalNote), now=clock.now()
        )
        return self.say(MedicalNote, self._rider(rider_id))
