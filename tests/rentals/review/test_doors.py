"""Who writes: a manager sets what kit costs, the service itself notes ages at faults; nobody else."""

from decimal import Decimal

import pytest

from rentals.audit.models import Entry
from rentals.lib.access import NOBODY, Actor, System, service
from rentals.lib.problems import NotAllowed, NotVisible
from rentals.review.models import ModelCost
from rentals.review.services import note_ages, set_costs
from tests.rentals.walk import Walk


def set_by(cast: Walk, actor: Actor, model_id: int | None = None) -> ModelCost:
    return set_costs(
        actor=actor,
        station_id=cast.tarrow.pk,
        model_id=cast.shed["S1"].model_id if model_id is None else model_id,
        new_cost=Decimal(400),
        fault_cost=Decimal("60.50"),
        now=cast.now,
    )


def test_a_manager_sets_costs_and_the_journal_says_so(cast: Walk) -> None:
    set_by(cast, cast.boss)

    assert Entry.objects.get().text == "Samphire 5.0: a new one costs 400.00 EUR, a fault 60.50 EUR"


@pytest.mark.parametrize("name", ["ida", "jory"])
def test_nobody_else_of_the_station_may(cast: Walk, name: str) -> None:
    with pytest.raises(NotAllowed, match="Ask a colleague who is"):
        set_by(cast, getattr(cast, name))

    assert not ModelCost.objects.exists()


def test_from_elsewhere_there_is_nothing_here(cast: Walk) -> None:
    for actor in (cast.rhys, cast.actor(cast.stranger), NOBODY, service(*System)):
        with pytest.raises(NotVisible):
            set_by(cast, actor)


def test_a_model_that_is_not_in_the_shed_costs_nothing(cast: Walk) -> None:
    with pytest.raises(NotVisible):
        set_by(cast, cast.boss, model_id=0)


def test_what_the_service_does_by_itself_no_person_does(cast: Walk) -> None:
    for actor in (cast.boss, NOBODY, service(*(set(System) - {System.NOTE_AGES}))):
        with pytest.raises(NotAllowed, match="Only the service itself"):
            note_ages(actor=actor, now=cast.now)
