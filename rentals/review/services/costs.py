"""What a new one of a model costs, and a fault of it: by this the ages of replacement are weighed."""

from datetime import datetime
from decimal import Decimal
from typing import Final

from rentals.audit import services as journal
from rentals.fleet.models import Item
from rentals.lib.access import Act, Actor
from rentals.lib.problems import NotVisible, Refused
from rentals.lib.writes import write
from rentals.review.models import ModelCost

MOST: Final = Decimal(1_000_000)


class UnableToSetCosts(Refused):
    """The costs do not hold together."""

    slug = "costs-refused"
    title = "Check the costs"


@write
def set_costs(
    *,
    actor: Actor,
    station_id: int,
    model_id: int,
    new_cost: Decimal,
    fault_cost: Decimal,
    now: datetime,
) -> ModelCost:
    """Set what a new one of a model costs a station, and what one fault costs on top.

    Raises:
        NotVisible: no item of that model here.
        UnableToSetCosts: a cost that is not above nothing.
    """
    actor.require(Act.SET_COSTS, station_id=station_id)
    item = (
        Item.objects.filter(station_id=station_id, model_id=model_id)
        .select_related("model", "station")
        .first()
    )
    if item is None:
        raise NotVisible("There is no such model in this shed.")
    _check({"new_cost": new_cost, "fault_cost": fault_cost})
    cost, _ = ModelCost.objects.update_or_create(
        station_id=station_id,
        model_id=model_id,
        defaults={"new_cost": new_cost, "fault_cost": fault_cost},
    )
    currency = item.station.currency
    text = f"{item.model}: a new one costs {new_cost:.2f} {currency}, a fault {fault_cost:.2f} {currency}"
    line = journal.Line("station", station_id, text, {"model": model_id})
    journal.record(actor=actor, act=Act.SET_COSTS, station_id=station_id, lines=[line], now=now)
    return cost


def _check(costs: dict[str, Decimal]) -> None:
    for name, cost in costs.items():
        if not (cost.is_finite() and 0 < cost <= MOST and cost == round(cost, 2)):
            raise UnableToSetCosts.at(name, "Enter an amount above 0 with at most two decimals.")
