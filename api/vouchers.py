"""Credits and vouchers: given, sold, looked up and used to pay."""

from http import HTTPStatus
from typing import Any

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.schema import operation
from api.shapes import In, Moment, Out, Text
from api.takings import AmountText, MoneyField, PaymentIn, WhyIn, party_at
from rentals.bookings.models import Outing
from rentals.lib import clock
from rentals.lib.problems import NotVisible
from rentals.stations.models import Station
from rentals.takings import queries, services
from rentals.takings.models import Voucher

CODE_LENGTH = 12


class CreditShape(Out):
    """A credit given for lack of wind or in place of money back, or a voucher that was sold."""

    code = serializers.CharField(source="voucher.code")
    kind = serializers.ChoiceField(Voucher.Kind.values, source="voucher.kind")
    party_id = serializers.IntegerField(source="voucher.party_id")
    amount = MoneyField(source="voucher.amount", help_text="What it was worth when it was given.")
    left = MoneyField(help_text="What is left on it; nothing once it lapsed.")
    last_day = serializers.DateField(source="voucher.last_day")
    state = serializers.CharField(help_text="good, used up, or past its last day.")
    why = serializers.CharField(source="voucher.why")
    at = Moment(source="voucher.at")


class CreditsQuery(In):
    """Which credits and vouchers."""

    q = serializers.CharField(required=False, max_length=60, help_text="Letters of the code or party.")
    all = serializers.BooleanField(default=False, help_text="Those that do not pay any more too.")


class CreditIn(In):
    """A credit in place of money back."""

    amount = AmountText()
    why = Text()


class RedeemIn(In):
    """A credit or voucher to pay with."""

    code = Text(most=CODE_LENGTH)


class NoWindShape(Out):
    """What became of an outing that the wind spoilt."""

    credit = CreditShape(allow_null=True, help_text="None when nothing of it was paid.")


class Credits(Endpoint):
    """Credits and vouchers of a station."""

    @operation("list_credits", CreditShape, many=True, query=CreditsQuery)
    def get(self, request: Asked, station: str) -> Response:
        """Return credits and vouchers with what is left on each, the one that ends first first."""
        at, asked = self.station(station), self.query(CreditsQuery)
        found = queries.vouchers_at(
            at, on=at.local(clock.now()).date(), words=asked.get("q", ""), everything=asked["all"]
        )
        return Response(CreditShape(found, many=True).data)


class OneCredit(Endpoint):
    """One credit or voucher."""

    @operation("get_credit", CreditShape)
    def get(self, request: Asked, station: str, code: str) -> Response:
        """Return a credit or voucher by its code."""
        at = self.station(station)
        story = queries.voucher_for(request.actor, at, code, on=at.local(clock.now()).date())
        return self.say(CreditShape, story.held)


class GiveCredit(Endpoint):
    """Credits of a party."""

    @operation("give_credit", CreditShape, status=HTTPStatus.CREATED, body=CreditIn, once=True)
    def post(self, request: Asked, party_id: int) -> Response:
        """Turn what a party has paid too much into a credit."""
        return _of_party(self, services.give_credit, party_id, self.body(CreditIn))


class SellVoucher(Endpoint):
    """Vouchers of a party."""

    @operation("sell_voucher", CreditShape, status=HTTPStatus.CREATED, body=PaymentIn, once=True)
    def post(self, request: Asked, party_id: int) -> Response:
        """Sell a voucher for what is paid now; its tax falls due when it is used."""
        paid = services.Paid(**self.body(PaymentIn))
        return _of_party(self, services.sell_voucher, party_id, {"paid": paid})


class Redeem(Endpoint):
    """Paying with a credit or voucher."""

    @operation("redeem", CreditShape, status=HTTPStatus.CREATED, body=RedeemIn, once=True)
    def post(self, request: Asked, party_id: int) -> Response:
        """Let a credit or voucher pay what a party owes, as far as it goes; the rest stays on it."""
        return _of_party(self, services.redeem, party_id, self.body(RedeemIn))


class NoWind(Endpoint):
    """An outing that the wind spoilt."""

    @operation("credit_outing", NoWindShape, status=HTTPStatus.CREATED, body=WhyIn, once=True)
    def post(self, request: Asked, outing_id: int) -> Response:
        """Take back what an outing was charged and give what was paid of it as a credit."""
        seen = Outing.objects.visible_to(request.actor).select_related("station").filter(pk=outing_id).first()
        if seen is None:
            raise NotVisible("There is no such outing here.")
        self.on_clock_of(seen.station)
        voucher = services.credit_outing(
            actor=request.actor, outing_id=outing_id, **self.body(WhyIn), once=self.once(), now=clock.now()
        )
        credit = None if voucher is None else _left(request, seen.station, voucher)
        return self.say(NoWindShape, {"credit": credit}, HTTPStatus.CREATED)


def _of_party(endpoint: Endpoint, do: Any, party_id: int, values: dict[str, Any]) -> Response:
    party, request = party_at(endpoint, party_id), endpoint.request
    voucher = do(actor=request.actor, party_id=party_id, **values, once=endpoint.once(), now=clock.now())
    return endpoint.say(CreditShape, _left(request, party.station, voucher), HTTPStatus.CREATED)


def _left(request: Asked, station: Station, voucher: Voucher) -> queries.VoucherLeft:
    today = station.local(clock.now()).date()
    return queries.voucher_for(request.actor, station, voucher.code, on=today).held
