"""The price list: what is sold on a day, how it was set, and setting it."""

from http import HTTPStatus
from typing import Any

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.schema import operation
from api.shapes import Choice, Day, Id, In, Moment, Note, Out, Text
from api.takings import CODE, AmountText, MoneyField
from rentals.lib import clock
from rentals.takings import queries, services
from rentals.takings.models import LONGEST_WAIT_DAYS, MOST_FREE_HOURS, Good, Unit

NAME, SEASON, TAX = 60, 40, 40


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


class PriceShape(Out):
    """A row of the price list as it was set; rows never change, a newer one takes over."""

    id = serializers.IntegerField(source="price.pk")
    good = serializers.CharField(source="price.good.code")
    unit = serializers.ChoiceField(Unit.values, source="price.unit")
    season_id = serializers.IntegerField(source="price.season_id", allow_null=True)
    amount = MoneyField(allow_null=True, help_text="None took the unit off the list.")
    card_hours = serializers.IntegerField(source="price.card_hours", allow_null=True)
    valid_from = serializers.DateField(source="price.valid_from")
    set_at = Moment(source="price.set_at")


class PriceIn(In):
    """What a unit costs from a day on, tax within."""

    good = Text(most=CODE)
    unit = Choice(Unit.values)
    amount = AmountText()
    valid_from = Day()
    season_id = Id(required=False, help_text="All year when left out.")
    card_hours = serializers.IntegerField(required=False, help_text="Hours on a season card, only there.")


class EndIn(In):
    """What is not sold any more from a day on."""

    good = Text(most=CODE)
    unit = Choice(Unit.values)
    valid_from = Day()
    season_id = Id(required=False)


class GoodShape(Out):
    """What is sold."""

    code = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.ChoiceField(Good.Kind.values)
    tax = serializers.CharField(source="tax.name")
    included = serializers.CharField()
    usual = serializers.BooleanField()
    sold = serializers.BooleanField()


class GoodFactsIn(In):
    """What is sold; `sold` false takes it off the list."""

    name = Text(most=NAME)
    kind = Choice(Good.Kind.values)
    tax = Text(most=TAX, help_text="The name of a band of tax of the station.")
    included = Note()
    usual = serializers.BooleanField(default=False, help_text="Meant when only its kind is said.")
    sold = serializers.BooleanField(default=True)


class SeasonShape(Out):
    """A span of days with prices of its own, both ends included."""

    id = serializers.IntegerField()
    name = serializers.CharField()
    first_day = serializers.DateField()
    last_day = serializers.DateField()
    dropped_at = Moment(allow_null=True)


class SeasonIn(In):
    """A season to add."""

    name = Text(most=SEASON)
    first_day = Day()
    last_day = Day()


class TaxRateShape(Out):
    """The rate of a band of tax from a day on."""

    name = serializers.CharField(source="tax.name")
    pct = serializers.DecimalField(max_digits=5, decimal_places=2)
    since = serializers.DateField()


class TaxRateIn(In):
    """A rate to set; the band is made when it is new."""

    name = Text(most=TAX)
    pct = serializers.DecimalField(max_digits=5, decimal_places=2)
    since = Day()


class TermsShape(Out):
    """How a station handles money."""

    currency = serializers.CharField()
    seller_name = serializers.CharField()
    seller_address = serializers.CharField()
    tax_number = serializers.CharField()
    half_day_min = serializers.IntegerField()
    hour_step_min = serializers.IntegerField()
    late_grace_min = serializers.IntegerField()
    late_step_min = serializers.IntegerField()
    late_step = MoneyField()
    late_most = MoneyField()
    deposit_pct = serializers.IntegerField()
    excess = MoneyField()
    credit_days = serializers.IntegerField()


class TermsIn(In):
    """How a station handles money, whole."""

    currency = serializers.CharField(max_length=3, help_text="By ISO 4217; it stays once there are prices.")
    seller_name = Text(most=120)
    seller_address = Note()
    tax_number = Note(most=40)
    half_day_min = serializers.IntegerField(default=240, help_text="A half-day is up to so many minutes.")
    hour_step_min = serializers.IntegerField(default=30, help_text="Hours count by started steps.")
    late_grace_min = serializers.IntegerField(default=10)
    late_step_min = serializers.IntegerField(default=15)
    late_step = AmountText(required=False, help_text="Late fee of a started step.")
    late_most = AmountText(required=False)
    deposit_pct = serializers.IntegerField(default=0)
    excess = AmountText(required=False, help_text="The usual damage excess.")
    credit_days = serializers.IntegerField(default=365, max_value=LONGEST_WAIT_DAYS)


class CancelRuleShape(Out):
    """What calling off costs what was booked since it was set, until the next one."""

    free_hours = serializers.IntegerField(help_text="Free until so many hours before the start.")
    share_pct = serializers.IntegerField(help_text="Share of the price after that.")
    missed_pct = serializers.IntegerField(help_text="Share of the price for a rider who did not come.")
    set_at = Moment()


class CancelRuleIn(In):
    """What calling off costs from now on."""

    free_hours = serializers.IntegerField(min_value=0, max_value=MOST_FREE_HOURS)
    share_pct = serializers.IntegerField(min_value=0, max_value=100)
    missed_pct = serializers.IntegerField(min_value=0, max_value=100)


class CancelRules(Endpoint):
    """Rules for calling off."""

    @operation("list_cancel_rules", CancelRuleShape, many=True)
    def get(self, request: Asked, station: str) -> Response:
        """Return the rules for calling off that the station has had, the newest first."""
        return Response(CancelRuleShape(queries.rules_of(self.station(station)), many=True).data)

    @operation("set_cancel_rule", CancelRuleShape, status=HTTPStatus.CREATED, body=CancelRuleIn, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Set what calling off costs from now on; what was booked before keeps its rule."""
        rule = services.set_cancel_rule(
            actor=request.actor,
            station_id=self.station(station).pk,
            **self.body(CancelRuleIn),
            once=self.once(),
            now=clock.now(),
        )
        return self.say(CancelRuleShape, rule, HTTPStatus.CREATED)


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

    @operation("set_price", PriceShape, status=HTTPStatus.CREATED, body=PriceIn, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Set what a unit costs from a day on; what was promised keeps its price."""
        return _set(self, station, self.body(PriceIn))


class PricesSet(Endpoint):
    """The price list as it was set."""

    @operation("list_prices_set", PriceShape, many=True)
    def get(self, request: Asked, station: str) -> Response:
        """Return the newest rows of the price list as they were set, the newest first."""
        return Response(PriceShape(queries.prices_set(self.station(station)), many=True).data)


class EndPrice(Endpoint):
    """The end of a price."""

    @operation("end_price", PriceShape, status=HTTPStatus.CREATED, body=EndIn, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Take a unit off the list from a day on; what was promised stands."""
        return _set(self, station, {**self.body(EndIn), "amount": None})


class Goods(Endpoint):
    """A good of the list."""

    @operation("keep_good", GoodShape, body=GoodFactsIn)
    def put(self, request: Asked, station: str, code: str) -> Response:
        """Put a good on the list, or change the one of that code."""
        facts = services.GoodFacts(code=code, **self.body(GoodFactsIn))
        good = services.keep_good(
            actor=request.actor, station_id=self.station(station).pk, facts=facts, now=clock.now()
        )
        return self.say(GoodShape, good)


class Seasons(Endpoint):
    """Seasons with prices of their own."""

    @operation("list_seasons", SeasonShape, many=True)
    def get(self, request: Asked, station: str) -> Response:
        """Return the seasons by their first day, dropped ones left out."""
        return Response(SeasonShape(queries.seasons_at(self.station(station)), many=True).data)

    @operation("add_season", SeasonShape, status=HTTPStatus.CREATED, body=SeasonIn, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Add a season."""
        season = services.keep_season(
            actor=request.actor,
            station_id=self.station(station).pk,
            **self.body(SeasonIn),
            once=self.once(),
            now=clock.now(),
        )
        return self.say(SeasonShape, season, HTTPStatus.CREATED)


class OneSeason(Endpoint):
    """One season."""

    @operation("drop_season", SeasonShape)
    def delete(self, request: Asked, station: str, season_id: int) -> Response:
        """Drop a season and with it its prices; what was quoted before stays as it was."""
        season = services.drop_season(
            actor=request.actor, station_id=self.station(station).pk, season_id=season_id, now=clock.now()
        )
        return self.say(SeasonShape, season)


class TaxRates(Endpoint):
    """Rates of tax."""

    @operation("set_tax_rate", TaxRateShape, status=HTTPStatus.CREATED, body=TaxRateIn, once=True)
    def post(self, request: Asked, station: str) -> Response:
        """Set the rate of a band of tax from a day on."""
        rate = services.set_tax_rate(
            actor=request.actor,
            station_id=self.station(station).pk,
            **self.body(TaxRateIn),
            once=self.once(),
            now=clock.now(),
        )
        return self.say(TaxRateShape, rate, HTTPStatus.CREATED)


class MoneyTerms(Endpoint):
    """Money terms of a station."""

    @operation("get_money_terms", TermsShape)
    def get(self, request: Asked, station: str) -> Response:
        """Return how a station handles money."""
        return _terms(self, station)

    @operation("set_money_terms", TermsShape, body=TermsIn)
    def put(self, request: Asked, station: str) -> Response:
        """Set how a station handles money."""
        services.keep_terms(
            actor=request.actor,
            station_id=self.station(station).pk,
            facts=services.TermsFacts(**self.body(TermsIn)),
            now=clock.now(),
        )
        return _terms(self, station)


def _set(endpoint: Endpoint, station: str, values: dict[str, Any]) -> Response:
    price = services.set_price(
        actor=endpoint.request.actor,
        station_id=endpoint.station(station).pk,
        **values,
        once=endpoint.once(),
        now=clock.now(),
    )
    return endpoint.say(PriceShape, queries.price_as_set(price), HTTPStatus.CREATED)


def _terms(endpoint: Endpoint, station: str) -> Response:
    return endpoint.say(TermsShape, queries.terms_of(endpoint.station(station)))


def _told(row: queries.ListRow) -> dict[str, Any]:
    return {"good": row.good, "card_hours": row.card_hours}
