"""Money: quotes, accounts of parties, charges, payments, refunds and damage excess."""

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from http import HTTPStatus
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.schema import operation
from api.shapes import Choice, Day, In, Moment, Note, Out, Reason, Text
from rentals.bookings.models import Booking, Party
from rentals.lib import clock
from rentals.lib.money import Money
from rentals.lib.problems import NotVisible
from rentals.takings import queries, services
from rentals.takings.mapping.quotes import MOST_OF_ONE
from rentals.takings.models import Good, Method, Payment, Purpose, Unit

CODE = 30
MOST_WANTED = 50
_AMOUNT: Mapping[str, Any] = {
    "type": "object",
    "properties": {
        "amount": {"type": "string", "pattern": r"^-?[0-9]+(\.[0-9]+)?$", "example": "12.50"},
        "currency": {"type": "string", "pattern": "^[A-Z]{3}$", "description": "By ISO 4217."},
    },
    "required": ["amount", "currency"],
}


@extend_schema_field(dict(_AMOUNT))
class MoneyField(serializers.Field[Any, Any, Any, Any]):
    """An amount as text, so that nobody rounds it on the way, with its currency."""

    def to_representation(self, value: Money) -> dict[str, str]:
        return {"amount": str(value.amount), "currency": value.currency}


class QuoteLine(Out):
    """One line of a quote."""

    good = serializers.CharField()
    text = serializers.CharField()
    count = serializers.IntegerField()
    each = MoneyField()
    total = MoneyField()
    tax_pct = serializers.DecimalField(max_digits=5, decimal_places=2)
    tax = MoneyField(help_text="Within the total, rounded half up to the minor unit.")
    included = serializers.CharField()
    reasons = Reason(many=True)


class TaxShape(serializers.Field[Any, Any, Any, Any]):
    """A rate with the net and the tax of its lines."""

    def to_representation(self, value: Sequence[Any]) -> dict[str, Any]:
        pct, net, tax = value
        said = MoneyField()
        return {"pct": str(pct), "net": said.to_representation(net), "tax": said.to_representation(tax)}


TAX_SCHEMA = {
    "type": "object",
    "properties": {"pct": {"type": "string"}, "net": dict(_AMOUNT), "tax": dict(_AMOUNT)},
    "required": ["pct", "net", "tax"],
}


@extend_schema_field({"type": "array", "items": TAX_SCHEMA})
class Taxes(serializers.ListField):
    """Taxes by rate."""

    child = TaxShape()


class QuoteShape(Out):
    """What a party's wishes cost, tax within."""

    as_of = Moment(help_text="The moment whose price list holds.")
    lines = QuoteLine(many=True)
    taxes = Taxes()
    total = MoneyField()


class WantedIn(In):
    """Something to be priced: a time, or units on a day; by its kind (the usual one) or its code."""

    kind = Choice(Good.Kind.values, required=False)
    good = Text(most=CODE, required=False)
    count = serializers.IntegerField(min_value=1, max_value=MOST_OF_ONE, default=1)
    starts_at = Moment(required=False)
    ends_at = Moment(required=False)
    unit = Choice(Unit.values, required=False)
    day = Day(required=False)


class QuoteIn(In):
    """What a party wants."""

    wanted = serializers.ListField(child=WantedIn(), min_length=1, max_length=MOST_WANTED)


class Quotes(Endpoint):
    """Quotes."""

    @operation("quote", QuoteShape, body=QuoteIn)
    def post(self, request: Asked, station: str) -> Response:
        """Say what a party's wishes cost by today's list, with the reasons; nothing is kept."""
        at = self.station(station)
        wanted = [queries.Wanted(**each) for each in self.body(QuoteIn)["wanted"]]
        return self.say(QuoteShape, queries.quote(at, wanted, as_of=clock.now()))


class ChargeShape(Out):
    """A line on an account; one that takes another back is negative."""

    id = serializers.IntegerField()
    text = serializers.CharField()
    count = serializers.IntegerField()
    each = MoneyField()
    gross = MoneyField(help_text="Tax within.")
    tax = MoneyField()
    tax_pct = serializers.DecimalField(max_digits=5, decimal_places=2)
    at = Moment()
    outing_id = serializers.IntegerField(allow_null=True)
    takes_back = serializers.IntegerField(source="reverses_id", allow_null=True)
    why = serializers.CharField()
    reasons = Reason(many=True)


class PaymentShape(Out):
    """Money that came in, or went out where negative."""

    id = serializers.IntegerField()
    party_id = serializers.IntegerField()
    amount = MoneyField()
    method = serializers.ChoiceField(Method.values)
    excess = serializers.BooleanField(help_text="Damage excess, held beside the account.")
    note = serializers.CharField()
    at = Moment()
    receipt = serializers.CharField(help_text="Its number: of a station's year, without gaps.")


class DueShape(Out):
    """What an outing will cost and is not charged yet."""

    outing_id = serializers.IntegerField(source="outing.pk")
    purpose = serializers.ChoiceField(Purpose.values)
    text = serializers.CharField(source="line.text")
    total = MoneyField(source="line.total")
    pass_id = serializers.IntegerField(
        source="cover.held.pk", default=None, allow_null=True, help_text="The pass that pays it."
    )
    reasons = Reason(many=True, source="line.reasons")


class AccountShape(Out):
    """A party's account."""

    party_id = serializers.IntegerField(source="party.pk")
    balance = MoneyField(help_text="Owed; negative when paid too much.")
    excess_held = MoneyField()
    to_come = MoneyField(help_text="Still to be charged.")
    due = DueShape(many=True)
    charges = ChargeShape(many=True)
    payments = PaymentShape(many=True)


class AmountText(serializers.DecimalField):
    """An amount in whole units of the station's currency, as text."""

    default_error_messages: ClassVar[dict[str, Any]] = {"invalid": "Enter an amount as text, such as 12.50."}

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_digits=12, decimal_places=3, min_value=Decimal(0), **kwargs)


class PaymentIn(In):
    """Money that changes hands, recorded and not processed."""

    amount = AmountText()
    method = Choice(Method.values)
    note = Note(help_text="Such as the slip's number; needed for a refund.")


class AmountIn(In):
    """An amount alone."""

    amount = AmountText()


class WhyIn(In):
    """A reason."""

    why = Text()


class GoodIn(In):
    """Units of a good."""

    good = Text(most=CODE)
    unit = Choice(Unit.values)
    count = serializers.IntegerField(min_value=1, max_value=MOST_OF_ONE, default=1)
    day = Day(required=False, help_text="Whose price holds; today when left out.")


class GoodsIn(In):
    """Goods to charge."""

    goods = serializers.ListField(child=GoodIn(), min_length=1, max_length=MOST_WANTED)


class NamedIn(In):
    """A charge at a price named by staff."""

    text = Text(most=120)
    amount = AmountText()
    good = Text(most=CODE, help_text="The good that it is taxed as.")
    why = Text()


class Account(Endpoint):
    """A party's account."""

    @operation("get_account", AccountShape)
    def get(self, request: Asked, party_id: int) -> Response:
        """Return what a party owes and paid, and what is still to be charged, with the reasons."""
        return _account(self, party_id)


class BookingAccount(Endpoint):
    """The account that a booking is on."""

    @operation("get_account_of_booking", AccountShape)
    def get(self, request: Asked, booking_id: int) -> Response:
        """Return the account of the party that booked: owed, paid, and what is still to be charged."""
        seen = Booking.objects.filter(party__station_id__in=request.actor.station_ids, pk=booking_id)
        booking = seen.first()
        if booking is None:
            raise NotVisible("There is no such booking here.")
        return _account(self, booking.party_id)


class Charges(Endpoint):
    """Charging a party."""

    @operation("charge_party", AccountShape, status=HTTPStatus.CREATED, once=True)
    def post(self, request: Asked, party_id: int) -> Response:
        """Charge what the party's outings cost and is not charged yet: their time as promised, late fees."""
        services.charge_due(actor=request.actor, party_id=party_id, once=self.once(), now=clock.now())
        return _account(self, party_id, HTTPStatus.CREATED)


class GoodsCharges(Endpoint):
    """Goods charged to a party."""

    pointers: ClassVar[Mapping[str, str]] = {name: f"/goods/0/{name}" for name in ("good", "unit", "count")}

    @operation("charge_goods", AccountShape, status=HTTPStatus.CREATED, body=GoodsIn, once=True)
    def post(self, request: Asked, party_id: int) -> Response:
        """Charge goods of today's list: storage, repairs, lessons by the seat."""
        party = party_at(self, party_id)
        today = party.station.local(clock.now()).date()
        wanted = [queries.Wanted(**{"day": today, **each}) for each in self.body(GoodsIn)["goods"]]
        services.charge_goods(
            actor=request.actor, party_id=party_id, wanted=wanted, once=self.once(), now=clock.now()
        )
        return _account(self, party_id, HTTPStatus.CREATED)


class NamedCharges(Endpoint):
    """Prices named by staff."""

    @operation("charge_named", AccountShape, status=HTTPStatus.CREATED, body=NamedIn, once=True)
    def post(self, request: Asked, party_id: int) -> Response:
        """Charge a price that staff name, such as for damage, with the reason."""
        named = services.Named(**self.body(NamedIn))
        services.charge_named(
            actor=request.actor, party_id=party_id, named=named, once=self.once(), now=clock.now()
        )
        return _account(self, party_id, HTTPStatus.CREATED)


class TakeBackCharge(Endpoint):
    """A charge taken back."""

    @operation("take_back_charge", AccountShape, status=HTTPStatus.CREATED, body=WhyIn, once=True)
    def post(self, request: Asked, charge_id: int) -> Response:
        """Take a charge back whole by a contra charge; both stay on the account."""
        taken = services.take_back_charge(
            actor=request.actor, charge_id=charge_id, **self.body(WhyIn), once=self.once(), now=clock.now()
        )
        return _account(self, taken.party_id, HTTPStatus.CREATED)


class Excess(Endpoint):
    """Damage excess held for a party."""

    @operation("hold_excess", PaymentShape, status=HTTPStatus.CREATED, body=PaymentIn, once=True)
    def post(self, request: Asked, party_id: int) -> Response:
        """Record a damage excess that is held until the kit is back."""
        return _pay(self, services.hold_excess, party_id)


class ExcessBack(Endpoint):
    """Damage excess paid back."""

    @operation("return_excess", PaymentShape, status=HTTPStatus.CREATED, body=PaymentIn, once=True)
    def post(self, request: Asked, party_id: int) -> Response:
        """Record damage excess paid back, at most what is held."""
        return _pay(self, services.return_excess, party_id)


class ExcessKept(Endpoint):
    """Damage excess kept."""

    @operation("keep_excess", AccountShape, status=HTTPStatus.CREATED, body=AmountIn, once=True)
    def post(self, request: Asked, party_id: int) -> Response:
        """Let damage excess pay for what a party owes, such as the damage that was charged."""
        services.keep_excess(
            actor=request.actor, party_id=party_id, **self.body(AmountIn), once=self.once(), now=clock.now()
        )
        return _account(self, party_id, HTTPStatus.CREATED)


class Payments(Endpoint):
    """Payments of a party."""

    @operation("take_payment", PaymentShape, status=HTTPStatus.CREATED, body=PaymentIn, once=True)
    def post(self, request: Asked, party_id: int) -> Response:
        """Record money that a party paid; its receipt is numbered."""
        return _pay(self, services.take_payment, party_id)


class Refunds(Endpoint):
    """Refunds to a party."""

    @operation("refund", PaymentShape, status=HTTPStatus.CREATED, body=PaymentIn, once=True)
    def post(self, request: Asked, party_id: int) -> Response:
        """Record money paid back to a party that has paid too much."""
        return _pay(self, services.refund, party_id)


def _pay(endpoint: Endpoint, do: Callable[..., Payment], party_id: int) -> Response:
    paid = services.Paid(**endpoint.body(PaymentIn))
    payment = do(
        actor=endpoint.request.actor, party_id=party_id, paid=paid, once=endpoint.once(), now=clock.now()
    )
    endpoint.on_clock_of(payment.station)
    return endpoint.say(PaymentShape, payment, HTTPStatus.CREATED)


def _account(endpoint: Endpoint, party_id: int, status: int = HTTPStatus.OK) -> Response:
    party = party_at(endpoint, party_id)
    account = queries.party_account(party, party.station, now=clock.now())
    return endpoint.say(AccountShape, account, status)


def party_at(endpoint: Endpoint, party_id: int) -> Party:
    """Return a party that the caller may see, on its station's clock: one query.

    Raises:
        NotVisible: there is none of that number for this actor.
    """
    seen = Party.objects.filter(station_id__in=endpoint.request.actor.station_ids).select_related("station")
    party = seen.filter(pk=party_id).first()
    if party is None:
        raise NotVisible("There is no such party here.")
    endpoint.on_clock_of(party.station)
    return party
