"""From home: what a station can promise, bookings behind a secret token, and what staff see of them.

Nobody signs in for the addresses under `/from-home/`; each network address may ask them so often and no more.
"""

from datetime import datetime
from decimal import Decimal
from http import HTTPStatus
from typing import Any, ClassVar
from uuid import uuid4

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.bookings import Contact
from api.endpoint import Asked, Endpoint
from api.lessons import DayQuery, OpenLessonShape
from api.riders import RiderFacts
from api.schema import operation
from api.shapes import Choice, Day, Id, In, Moment, Note, Out, Tenths
from api.takings import AmountText, MoneyField
from rentals.bookings import services as bookings
from rentals.home import queries, services
from rentals.home.doors import HOME, address_of
from rentals.home.forms import HALVES, LOOK_ROWS, USUAL_STATURE_CM
from rentals.home.mapping import PRIVACY, WAIVER
from rentals.home.models import LANGUAGES, Front, Guest
from rentals.home.services import MOST_FROM_HOME
from rentals.home.services import Asked as PartyAsked
from rentals.home.states import IN_THE_DAY, GuestState
from rentals.lib import clock
from rentals.lib.money import money
from rentals.lib.problems import Refused
from rentals.people import services as people
from rentals.people.models import MASS_KG, Rider
from rentals.stations.models import LEVELS

STATES = [state.value for state in GuestState]
LONGEST_LOOK_H = 4


class TooMany(Refused):
    """Too many requests from one network address."""

    status = HTTPStatus.TOO_MANY_REQUESTS
    slug = "too-many"
    title = "Too many tries"

    def __init__(self, sentence: str, *, limit: services.Limit) -> None:
        super().__init__(sentence)
        self.headers = {"Retry-After": str(int(limit.span.total_seconds()))}


class NotAgreed(Refused):
    """The notice on what is kept was not agreed to."""

    slug = "not-agreed"
    title = "Agree to what is kept"


class FrontShape(Out):
    """A station's rules for people at home, and the texts that they agree to."""

    station = serializers.CharField(source="station.slug")
    name = serializers.CharField(source="station.name")
    zone = serializers.CharField(source="station.zone_name")
    phone = serializers.CharField()
    greeting = serializers.CharField()
    house_rules = serializers.CharField()
    days_ahead = serializers.IntegerField(help_text="Bookings are open for so many days.")
    lead_min = serializers.IntegerField(help_text="Earliest start from now.")
    change_until_min = serializers.IntegerField(help_text="Changes until so long before the start.")
    offer_min = serializers.IntegerField(help_text="A freed place is held so long.")
    waiver = serializers.ListField(child=serializers.CharField())
    privacy = serializers.ListField(child=serializers.CharField())
    text_version = serializers.CharField(help_text="Of waiver and notice, kept with each signature.")


class LookRider(In):
    """A rider as far as a look needs them."""

    mass_kg = Tenths(low=MASS_KG[0], high=MASS_KG[1])
    level = Choice(LEVELS)


class Look(In):
    """Half a day, how long, and who comes."""

    day = Day()
    half = Choice([half for half, _ in HALVES])
    hours = serializers.IntegerField(min_value=1, max_value=LONGEST_LOOK_H)
    riders = serializers.ListField(child=LookRider(), min_length=1, max_length=LOOK_ROWS)


class TimeShape(Out):
    """A time at which a party could begin."""

    starts_at = Moment()
    ends_at = Moment()
    free = serializers.BooleanField(source="seen.holds", help_text="Whether each would have a right rig.")
    text = serializers.CharField(source="seen.text")
    price = MoneyField(allow_null=True, help_text="For all riders, tax within.")


class TimesShape(Out):
    """The times of half a day."""

    times = TimeShape(many=True)


class PricedLesson(Out):
    """A lesson with a free seat, and what a seat costs."""

    lesson = OpenLessonShape()
    price = MoneyField(source="price.total", allow_null=True, default=None, help_text="A seat, tax within.")


class PricedLessons(Out):
    """The lessons of a day in which people at home can take seats."""

    day = serializers.DateField()
    lessons = PricedLesson(many=True)


class PartyIn(In):
    """Who speaks for a party, and who comes."""

    contact = Contact()
    riders = serializers.ListField(child=RiderFacts(), min_length=1, max_length=MOST_FROM_HOME)
    language = Choice(LANGUAGES, default="en", help_text="Of the letters.")
    note = Note()
    privacy = serializers.BooleanField(help_text="Agreed to what is kept; true, or nothing is.")


class RentalIn(PartyIn):
    """A party that wants to come at a time."""

    starts_at = Moment()
    ends_at = Moment()


class MoveIn(In):
    """Another time, or another lesson for a party that has seats in one."""

    starts_at = Moment(required=False)
    ends_at = Moment(required=False)
    lesson_id = Id(required=False)


class CancelIn(In):
    """What a party agrees to pay for cancelling."""

    agreed_fee = AmountText(
        default=Decimal(0), help_text="As `cancel_fee` said; when it is more by now, refused."
    )


class VisitTime(Out):
    """A time of a party."""

    starts_at = Moment()
    ends_at = Moment()
    lesson = serializers.CharField(source="name", help_text="Empty for a rental.")
    stands = serializers.BooleanField(help_text="False when it was called off.")


class VisitRider(Out):
    """Who comes, and what they have still to do."""

    id = serializers.IntegerField(source="rider.pk")
    name = serializers.CharField(source="rider.name")
    lacks = serializers.ListField(child=serializers.CharField())


class VisitShape(Out):
    """A party's booking as its token shows it."""

    state = serializers.ChoiceField(STATES, source="guest.state")
    times = VisitTime(many=True, source="all_times")
    riders = VisitRider(many=True)
    offer_until = Moment(source="guest.offer_until", allow_null=True)
    may_change = serializers.BooleanField()
    change_until = Moment()
    to_pay = MoneyField(allow_null=True, help_text="At the desk; null where no price is known.")
    cancel_fee = MoneyField(allow_null=True, help_text="What cancelling costs now.")
    cancel_free_until = Moment(allow_null=True)


class BookedShape(Out):
    """A booking and the token that opens it, which is shown this once and stands in the letters."""

    token = serializers.CharField()
    visit = VisitShape()


class GuestShape(Out):
    """A party that is written to."""

    booking_id = serializers.IntegerField(source="guest.booking_id")
    state = serializers.ChoiceField(STATES, source="guest.state")
    contact_name = serializers.CharField(source="guest.booking.party.contact_name")
    contact_email = serializers.CharField(source="guest.booking.party.contact_email")
    contact_phone = serializers.CharField(source="guest.booking.party.contact_phone")
    from_home = serializers.BooleanField(source="guest.from_home")
    joined_at = Moment(source="guest.joined_at")
    starts_at = Moment(source="guest.starts_at")
    ends_at = Moment(source="guest.ends_at")
    offer_until = Moment(source="guest.offer_until", allow_null=True)
    letters_lost = serializers.IntegerField(help_text="Letters that came back.")


class LetterShape(Out):
    """A letter to a party, and what became of it."""

    about = serializers.CharField(source="letter.about")
    to = serializers.CharField(source="letter.to")
    subject = serializers.CharField(source="letter.subject")
    written_at = Moment(source="letter.written_at")
    sent_at = Moment(source="letter.sent_at", allow_null=True)
    bounced_at = Moment(source="letter.bounced_at", allow_null=True)
    error = serializers.CharField(source="letter.error")


class GuestQuery(In):
    """Which parties."""

    state = Choice(STATES, required=False, help_text="`waiting` is the waiting list, in order of coming.")


class OutboxQuery(In):
    """Which letters."""

    lost = serializers.BooleanField(default=False, help_text="Only those that came back or wait after one.")


class Public(Endpoint):
    """What everybody may ask of a station's open page, so often and no more."""

    authentication_classes = ()
    permission_classes = ()
    counted: ClassVar = True
    pointers: ClassVar = {"day": "/starts_at", "contact_name": "/contact/name"}

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Count who asks."""
        super().initial(request, *args, **kwargs)
        limit = services.LOOKS if request.method == "GET" else services.POSTS
        now, address = clock.now(), address_of(request._request)
        if not services.count_post(actor=HOME, limit=limit, address=address, now=now):
            raise TooMany("Too many requests from your address. Wait ten minutes.", limit=limit)

    def front(self, station: str) -> Front:
        """Return the open page of a station, and set the clock to it."""
        front = queries.open_front(station)
        self.on_clock_of(front.station)
        return front

    def pointer_of(self, name: str) -> str:
        """Return where the body holds what the service calls `contact_email` or `riders.2.mass_kg`."""
        whose, _, field = name.partition("_")
        return f"/contact/{field}" if whose == "contact" else super().pointer_of(name)

    def party(self, sent: dict[str, Any], starts_at: datetime, ends_at: datetime) -> PartyAsked:
        """Return a party that was sent, under the request's own key."""
        if not sent["privacy"]:
            raise NotAgreed.at("privacy", "Show what is kept, and send true once it is agreed to.")
        return PartyAsked(
            contact=bookings.Contact(**sent["contact"]),
            starts_at=starts_at,
            ends_at=ends_at,
            riders=tuple(people.RiderFacts(**facts) for facts in sent["riders"]),
            language=sent["language"],
            once=self.once() or uuid4(),
            note=sent["note"],
        )

    def booked(self, front: Front, guest: Guest) -> Response:
        """Answer with a booking and a fresh token of it."""
        token = services.open_link(actor=HOME, guest_id=guest.pk, now=clock.now())
        said = {"token": token, "visit": _visit(front, guest)}
        return self.say(BookedShape, said, HTTPStatus.CREATED)


class OneFront(Public):
    """A station's open page."""

    @operation("get_front", FrontShape)
    def get(self, request: Asked, station: str) -> Response:
        """Return the rules for people at home, and the texts that they agree to."""
        front: Any = self.front(station)
        front.waiver, front.privacy = list(map(str, WAIVER)), list(map(str, PRIVACY))
        front.text_version = services.version_of(front)
        return self.say(FrontShape, front)


class Times(Public):
    """Times that can be promised."""

    @operation("look_for_times", TimesShape, body=Look)
    def post(self, request: Asked, station: str) -> Response:
        """Say for each full hour of half a day whether the shed can serve a party, and what it costs."""
        front, sent = self.front(station), self.body(Look)
        riders = tuple(Rider(stature_cm=USUAL_STATURE_CM, **each) for each in sent.pop("riders"))
        found = queries.slots(front, riders=riders, now=clock.now(), **sent)
        return self.say(TimesShape, {"times": found})


class Lessons(Public):
    """Lessons with free seats."""

    @operation("list_lessons_from_home", PricedLessons, query=DayQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List the lessons of a day in which people at home can take seats, with prices."""
        front, now = self.front(station), clock.now()
        day = self.query(DayQuery).get("day") or front.station.local(now).date()
        return self.say(PricedLessons, {"day": day, "lessons": queries.lessons_on(front, day, now=now)})


class HomeBookings(Public):
    """Rentals from home."""

    @operation("book_from_home", BookedShape, status=HTTPStatus.CREATED, body=RentalIn, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Book a party whose riders can all be served, never against the promise."""
        front, sent = self.front(station), self.body(RentalIn)
        asked = self.party(sent, sent["starts_at"], sent["ends_at"])
        guest = services.book_from_home(actor=HOME, front=front, asked=asked, now=clock.now())
        return self.booked(front, guest)


class Waiting(Public):
    """The waiting list."""

    @operation("join_waiting_list", BookedShape, status=HTTPStatus.CREATED, body=RentalIn, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Wait for a place at a time that is taken; when one comes free it is offered by letter."""
        front, sent = self.front(station), self.body(RentalIn)
        asked = self.party(sent, sent["starts_at"], sent["ends_at"])
        guest = services.join_queue(actor=HOME, front_id=front.pk, asked=asked, now=clock.now())
        return self.booked(front, guest)


class Seats(Public):
    """Seats in a lesson, from home."""

    @operation("book_lesson_from_home", BookedShape, status=HTTPStatus.CREATED, body=PartyIn, once=True)
    def post(self, request: Asked, station: str, lesson_id: int) -> Response:
        """Take a seat for each rider, in the whole course where it is taken as one."""
        front, sent = self.front(station), self.body(PartyIn)
        offer = queries.lesson_offer(front, lesson_id, now=clock.now()).lesson
        asked = self.party(sent, offer.starts_at, offer.ends_at)
        guest = services.book_lesson(
            actor=HOME, front_id=front.pk, lesson_id=lesson_id, asked=asked, now=clock.now()
        )
        return self.booked(front, guest)


class Visit(Public):
    """A party's booking, by its token; the page need not be open any more."""

    def behind(self, station: str, token: str) -> tuple[Front, Guest]:
        """Return what a token opens, and set the clock to its station."""
        front = queries.front_behind(station)
        self.on_clock_of(front.station)
        return front, queries.guest_by_token(front, token)

    def answer(self, front: Front, guest: Guest) -> Response:
        """Answer with a party's booking."""
        return self.say(VisitShape, _visit(front, guest))


class OneVisit(Visit):
    """A party's booking."""

    @operation("get_visit", VisitShape)
    def get(self, request: Asked, station: str, token: str) -> Response:
        """Return a party's booking."""
        return self.answer(*self.behind(station, token))


class MoveVisit(Visit):
    """Another time or lesson."""

    @operation("move_visit", VisitShape, body=MoveIn)
    def post(self, request: Asked, station: str, token: str) -> Response:
        """Move a booking to another time or lesson, within the station's rule; else it stays as it is."""
        front, guest = self.behind(station, token)
        sent, now = self.body(MoveIn), clock.now()
        if guest.booking.kind == queries.LESSON:
            lesson_id = _needed(sent, "lesson_id")
            services.change_lesson(actor=HOME, guest_id=guest.pk, lesson_id=lesson_id, now=now)
        else:
            starts_at, ends_at = _needed(sent, "starts_at"), _needed(sent, "ends_at")
            services.move_from_home(
                actor=HOME, front=front, guest=guest, starts_at=starts_at, ends_at=ends_at, now=now
            )
        return self.answer(*self.behind(station, token))


class CancelVisit(Visit):
    """Not coming."""

    @operation("cancel_visit", VisitShape, body=CancelIn)
    def post(self, request: Asked, station: str, token: str) -> Response:
        """Cancel a booking or leave the waiting list; doing it twice changes nothing."""
        _front, guest = self.behind(station, token)
        now, agreed = clock.now(), self.body(CancelIn)["agreed_fee"]
        cost = queries.cancel_cost(guest, now=now) if guest.state in IN_THE_DAY else None
        told = money(agreed, cost.fee.currency).minor if cost else None
        services.leave(actor=HOME, guest_id=guest.pk, told_minor=told, now=now)
        return self.answer(*self.behind(station, token))


class TakeOffer(Visit):
    """Taking an offered place."""

    @operation("take_offer", VisitShape)
    def post(self, request: Asked, station: str, token: str) -> Response:
        """Take the place that was offered; doing it twice changes nothing."""
        _front, guest = self.behind(station, token)
        services.take_offer(actor=HOME, guest_id=guest.pk, now=clock.now())
        return self.answer(*self.behind(station, token))


class Guests(Endpoint):
    """Parties to come that are written to."""

    @operation("list_guests", GuestShape, many=True, query=GuestQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List parties to come that booked or wait from home, or left an address at the desk."""
        at, state = self.station(station), self.query(GuestQuery).get("state", "")
        rows = queries.guests_at(at, state=state, now=clock.now())
        said = GuestShape(rows, many=True, context={"request": request})
        return Response(said.data)


class Outbox(Endpoint):
    """Letters to riders."""

    @operation("list_letters", LetterShape, many=True, query=OutboxQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List the letters of the last thirty days, newest first, and what became of each."""
        at, lost = self.station(station), self.query(OutboxQuery)["lost"]
        rows = queries.outbox(at, lost=lost, now=clock.now())
        return Response(LetterShape(rows, many=True, context={"request": request}).data)


def _needed(sent: dict[str, Any], name: str) -> Any:
    if name not in sent:
        raise bookings.UnableToBook.at(name, "This is needed to move that booking.")
    return sent[name]


def _visit(front: Front, guest: Guest) -> dict[str, Any]:
    now = clock.now()
    seen = queries.visit(front, guest, now=now)
    coming = guest.state in IN_THE_DAY
    price = queries.to_pay(guest, now=now) if coming else None
    cost = queries.cancel_cost(guest, now=now) if coming else None
    names = ("guest", "all_times", "riders", "may_change", "change_until")
    return {
        **{name: getattr(seen, name) for name in names},
        "to_pay": price,
        "cancel_fee": cost.fee if cost else None,
        "cancel_free_until": cost.free_until if cost else None,
    }
