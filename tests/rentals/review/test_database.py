"""Every constraint of costs, tried around the services and refused by the database."""

from decimal import Decimal
from typing import Any

import pytest

from rentals.fleet.models import Kind
from rentals.review.models import ModelCost
from rentals.stations.models import Station
from tests.rentals.database.rows import Rows, copied, inserted, refused_as_twin, refused_by

pytestmark = pytest.mark.both_engines


@pytest.fixture
def rows(db: None) -> Rows:
    """Valid rows, made when first asked for."""
    return Rows()


def a_cost(rows: Rows) -> ModelCost:
    return ModelCost.objects.create(
        station=rows.station,
        model=rows.model(Kind.SAIL),
        new_cost=Decimal(400),
        fault_cost=Decimal(60),
    )


@pytest.mark.parametrize(
    ("constraint", "wrong"),
    [
        ("model_cost_above_nothing", {"new_cost": Decimal(0)}),
        ("model_cost_above_nothing", {"fault_cost": Decimal(-1)}),
    ],
)
def test_a_row_that_breaks_a_rule_is_refused(rows: Rows, constraint: str, wrong: dict[str, Any]) -> None:
    valid = a_cost(rows)

    with refused_by(constraint):
        inserted(copied(valid, model=rows.model(Kind.BOARD), **wrong))


def test_a_model_has_one_cost_at_a_station(rows: Rows) -> None:
    valid = a_cost(rows)

    with refused_as_twin(("station_id", "model_id")):
        inserted(copied(valid))


def test_the_currency_of_a_station_stays_once_it_has_costs(rows: Rows) -> None:
    here = Station.objects.filter(pk=a_cost(rows).station_id)

    with refused_by("currency_stays_with_model_costs"):
        here.update(currency="GBP")
    here.update(currency="EUR")
