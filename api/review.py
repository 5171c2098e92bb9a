"""The review: how long kit lasts by a station's own records, what it costs, and figures of some months."""

from typing import Any

from rest_framework import serializers
from rest_framework.response import Response

from api.endpoint import Asked, Endpoint
from api.schema import operation
from api.shapes import Day, In, Out, Reason
from rentals.lib import clock
from rentals.lib.tables import Table
from rentals.review import services
from rentals.review.mapping.figures import figures
from rentals.review.mapping.period import Period, months_on
from rentals.review.queries.facts import facts
from rentals.review.queries.life import kit_lives

MOST_MONTHS = 120


class Estimate(Out):
    """A figure with its limits."""

    value = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    confidence = serializers.FloatField()
    reason = Reason()


class Replacement(Out):
    """When to replace or retire at the least cost per hour."""

    age_h = serializers.FloatField(allow_null=True, help_text="None where keeping it costs least.")
    reason = Reason()


class ModelLife(Out):
    """What a station's records say of the life of one model; figures are null where they are too few."""

    model_id = serializers.IntegerField(source="model.pk")
    model = serializers.CharField(source="model.name")
    kind = serializers.CharField(source="model.kind")
    records = serializers.IntegerField(source="count", help_text="Stretches from fault to fault or to today.")
    faults = serializers.IntegerField(source="failures")
    silent = serializers.CharField(help_text="Why nothing is said; empty where something is.")
    season_h = serializers.FloatField(help_text="Hours of an item in the next season, as in the last year.")
    half_by = Estimate(allow_null=True, help_text="Age [h] by which half of new items had a fault.")
    hazard = Estimate(allow_null=True, help_text="Faults per hour at the usual age in the shed.")
    expected = Estimate(allow_null=True, help_text="Faults to expect in the next season.")
    replacement = Replacement(allow_null=True)


class KitLives(Out):
    """The lives of a shed's models."""

    models = ModelLife(many=True)


class Figure(Out):
    """One figure of the review as a table."""

    name = serializers.CharField()
    title = serializers.CharField()
    says = serializers.CharField()
    columns = serializers.ListField(child=serializers.CharField())
    rows = serializers.ListField(child=serializers.DictField(help_text="Values by column."))


class Review(Out):
    """The figures of some months."""

    first_day = serializers.DateField()
    last_day = serializers.DateField()
    figures = Figure(many=True)


class Months(In):
    """Which months, each named by any day of it; the last twelve when left out."""

    since = Day(required=False)
    until = Day(required=False)

    def validate(self, said: dict[str, Any]) -> dict[str, Any]:
        """Refuse months that run backwards or over more years than are looked at."""
        since, until = said.get("since"), said.get("until")
        if since and until and not since.replace(day=1) <= until < months_on(since, MOST_MONTHS):
            raise serializers.ValidationError(
                {"until": f"Enter a day after the first, {MOST_MONTHS // 12} years on at most."}
            )
        return said


class Cost(In):
    """What a new one costs, and one fault of it."""

    new_cost = serializers.DecimalField(max_digits=9, decimal_places=2)
    fault_cost = serializers.DecimalField(max_digits=9, decimal_places=2)


class CostShape(Out):
    """What a new one of a model costs a station, and one fault of it."""

    model_id = serializers.IntegerField()
    new_cost = serializers.DecimalField(max_digits=9, decimal_places=2)
    fault_cost = serializers.DecimalField(max_digits=9, decimal_places=2)
    currency = serializers.CharField()


class Lives(Endpoint):
    """Lives of the models of a station."""

    @operation("get_lives", KitLives, by_role=True)
    def get(self, request: Asked, station: str) -> Response:
        """Return the life of each model, by kind and size; for instructors and managers."""
        found = kit_lives(request.actor, self.station(station), now=clock.now())
        return self.say(KitLives, {"models": found})


class Figures(Endpoint):
    """Figures of a station."""

    @operation("get_review", Review, query=Months, by_role=True)
    def get(self, request: Asked, station: str) -> Response:
        """Return the figures of some months; for managers."""
        at, asked = self.station(station), self.query(Months)
        usual = Period.until(at.local(clock.now()).date())
        after = months_on(asked["until"], 1) if "until" in asked else usual.after
        first = months_on(asked["since"], 0) if "since" in asked else months_on(after, -len(usual.months))
        period = Period(first, max(after, months_on(first, 1)))
        shown = [_shown(figure.table) for figure in figures(facts(request.actor, at, period))]
        answer = {"first_day": period.first, "last_day": period.last_day, "figures": shown}
        return self.say(Review, answer)


class Costs(Endpoint):
    """What a model costs a station."""

    @operation("set_costs", CostShape, body=Cost)
    def put(self, request: Asked, station: str, model_id: int) -> Response:
        """Set what a new one of a model costs, and one fault of it."""
        cost = services.set_costs(
            actor=request.actor,
            station_id=self.station(station).pk,
            model_id=model_id,
            **self.body(Cost),
            now=clock.now(),
        )
        return self.say(CostShape, cost)


def _shown(table: Table) -> dict[str, Any]:
    return {
        "name": table.name,
        "title": table.title,
        "says": table.says,
        "columns": table.columns,
        "rows": [dict(zip(table.columns, row, strict=True)) for row in table.rows],
    }
