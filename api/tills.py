"""The till: a day's takings, its close, change for the drawer, and the ledger."""

from http import HTTPStatus

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.paging import PageQuery
from api.schema import operation
from api.shapes import Day, In, Moment, Note, Out
from api.takings import AmountText, MoneyField, Taxes
from rentals.lib import clock
from rentals.takings import queries, services
from rentals.takings.models import Account, LedgerEntry


class CameIn(Out):
    """What came in by one way."""

    account = serializers.ChoiceField(Account.values)
    amount = MoneyField()


class SoldShape(Out):
    """What was charged of one good."""

    name = serializers.CharField()
    count = serializers.IntegerField()
    amount = MoneyField()


class OpenShape(Out):
    """A party that owes something, or was paid too much where negative."""

    party_id = serializers.IntegerField()
    balance = MoneyField()


class CloseShape(Out):
    """The close of a day, for good."""

    day = serializers.DateField()
    expected = MoneyField()
    counted = MoneyField()
    left = MoneyField(help_text="What stays in the drawer for the next day.")
    difference = MoneyField(help_text="Counted beyond what was expected; negative when some is missing.")
    note = serializers.CharField()
    at = Moment()


class DayShape(Out):
    """A day's takings."""

    day = serializers.DateField()
    came_in = CameIn(many=True)
    sold = SoldShape(many=True)
    taxes = Taxes()
    charged = MoneyField()
    drawer = MoneyField(help_text="What the drawer should hold now.")
    open = OpenShape(many=True)
    close = CloseShape(allow_null=True)


class TillQuery(In):
    """Which day."""

    day = Day(required=False, help_text="Today when left out.")


class CloseIn(In):
    """What lay in the drawer."""

    day = Day()
    cash = AmountText(help_text="Counted.")
    left = AmountText(help_text="Left in the drawer for the next day.")
    note = Note(help_text="Needed when the count is not what is expected.")


class ChangeIn(In):
    """Change from the safe."""

    amount = AmountText()


class DrawerShape(Out):
    """What was put into the drawer."""

    amount = MoneyField()


class PostedShape(Out):
    """An entry of the ledger: one amount from one account to another. Entries never change."""

    id = serializers.IntegerField()
    day = serializers.DateField()
    at = Moment()
    debit = serializers.ChoiceField(Account.values)
    credit = serializers.ChoiceField(Account.values)
    amount = MoneyField()
    text = serializers.CharField()
    party_id = serializers.IntegerField(allow_null=True)
    charge_id = serializers.IntegerField(allow_null=True)
    payment_id = serializers.IntegerField(allow_null=True)


class EntryQuery(PageQuery):
    """Which entries."""

    since = Day(required=False)
    until = Day(required=False)


class TillDay(Endpoint):
    """A day's takings."""

    @operation("get_takings", DayShape, query=TillQuery, needs_setup=True)
    def get(self, request: Asked, station: str) -> Response:
        """Return what came in on a day, what was charged, who owes, and the close."""
        at = self.station(station)
        day = self.query(TillQuery).get("day", at.local(clock.now()).date())
        found = queries.day_takings(at, day)
        answer = {
            "day": day,
            "came_in": [{"account": account, "amount": amount} for account, amount in found.came_in],
            "sold": [{"name": name, "count": count, "amount": money} for name, count, money in found.sold],
            "taxes": found.taxes,
            "charged": found.charged,
            "drawer": found.drawer,
            "open": [{"party_id": party.pk, "balance": owed} for party, owed in found.open],
            "close": found.close,
        }
        return self.say(DayShape, answer)


class CloseDay(Endpoint):
    """The close of a day."""

    @operation("close_day", CloseShape, status=HTTPStatus.CREATED, body=CloseIn, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Close the takings of a day for good; what comes later counts for the next."""
        at, sent = self.station(station), self.body(CloseIn)
        day = sent.pop("day")
        close = services.close_day(
            actor=request.actor,
            station_id=at.pk,
            day=day,
            counted=services.Counted(**sent),
            once=self.once(),
            now=clock.now(),
        )
        return self.say(CloseShape, close, HTTPStatus.CREATED)


class Change(Endpoint):
    """Change for the drawer."""

    @operation("put_cash", DrawerShape, status=HTTPStatus.CREATED, body=ChangeIn, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Put cash from the safe into the drawer."""
        put = services.put_cash(
            actor=request.actor,
            station_id=self.station(station).pk,
            **self.body(ChangeIn),
            once=self.once(),
            now=clock.now(),
        )
        return self.say(DrawerShape, {"amount": put}, HTTPStatus.CREATED)


class Ledger(Endpoint):
    """The ledger."""

    @operation("list_entries", PostedShape, many=True, query=EntryQuery)
    def get(self, request: Asked, station: str) -> Response:
        """List the ledger in the order in which it was written."""
        asked = self.query(EntryQuery)
        rows = LedgerEntry.objects.filter(station=self.station(station))
        if "since" in asked:
            rows = rows.filter(day__gte=asked["since"])
        if "until" in asked:
            rows = rows.filter(day__lte=asked["until"])
        return self.page(PostedShape, rows, "id", asked)
