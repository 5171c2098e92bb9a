"""Money: the price list and quotes, accounts of parties, payments and refunds."""

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
from rentals.bookings.models import Party
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


class UnitPrice(Out):
    """What a unit costs."""

    unit = serializers.ChoiceField(Unit.values)
    price = MoneyField()


class ListRow(Out):
    """A good of the price list."""

    good = serializers.CharField(source="good.code")
    name = serializers.CharField(source="good.name")
    kind = serializers.ChoiceField(Good.Kind.values, source="good.kind")
    usual = serializers.BooleanField(source="good.usual")
    included = serializers.CharField(source="good.included")
    prices = UnitPrice(many=True)
    card_hours = serializers.IntegerField(allow_null=True)


class DayQuery(In):
    """Which day."""

    day = Day(required=False, help_text="Today when left out.")


class Prices(Endpoint):
    """The price list."""

    @operation("list_prices", ListRow, many=True, query=DayQuery)
    def get(self, request: Asked, station: str) -> Response:
        """Return what is sold on a day, tax within; nothing where no prices are set."""
        at, asked, now = self.station(station), self.query(DayQuery), clock.now()
        try:
            rows = queries.price_list(at, asked.get("day", at.local(now).date()), as_of=now)
        except queries.UnableToQuote:
            rows = ()
        found = [
            {**_told(row), "prices": [{"unit": unit, "price": price} for unit, price in row.prices]}
            for row in rows
        ]
        return Response(ListRow(found, many=True).data)


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


class Account(Endpoint):
    """A party's account."""

    @operation("get_account", AccountShape)
    def get(self, request: Asked, party_id: int) -> Response:
        """Return what a party owes and paid, and what is still to be charged, with the reasons."""
        return _account(self, party_id)


class Charges(Endpoint):
    """Charging a party."""

    @operation("charge_party", AccountShape, status=HTTPStatus.CREATED, once=True)
    def post(self, request: Asked, party_id: int) -> Response:
        """Charge what the party's outings cost and is not charged yet: their time as promised, late fees."""
        services.charge_due(actor=request.actor, party_id=party_id, once=self.once(), now=clock.now())
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
    seen = Party.objects.filter(station_id__in=endpoint.request.actor.station_ids).select_related("station")
    party = seen.filter(pk=party_id).first()
    if party is None:
        raise NotVisible("There is no such party here.")
    endpoint.on_clock_of(party.station)
    account = queries.party_account(party, party.station, now=clock.now())
    return endpoint.say(AccountShape, account, status)


def _told(row: queries.ListRow) -> dict[str, Any]:
    return {"good": row.good, "card_hours": row.card_hours}
