"""The rig crew of a station: set by its manager, reckoned with by the plan."""

from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from rentals.dayplan import queries, services
from rentals.dayplan.models import Crew
from rigging.allot.jsonform import to_problem
from tests.rentals.dayplan.day import Day


def set_crew(day: Day, **values: int) -> Crew:
    facts = services.CrewFacts(**{"hands": 3, "rig_min": 12, "lead_min": 45, **values})
    return services.set_crew(
        actor=day.cast.boss, station_id=day.cast.tarrow.pk, facts=facts, now=day.cast.now
    )


def test_where_none_is_set_two_take_a_quarter_of_an_hour_each(day: Day) -> None:
    day.two()

    crew = to_problem(day.ask().inputs).crew

    assert (crew.rig_min, {window.hands for window in crew.windows or ()}) == (15, {2})


def test_the_plan_reckons_with_the_crew_that_is_set(day: Day) -> None:
    day.two(hour=14)
    set_crew(day)

    crew = to_problem(day.ask().inputs).crew

    assert (crew.rig_min, {window.hands for window in crew.windows or ()}) == (12, {3})
    last = (crew.windows or ())[-1]
    assert last.end_min - last.start_min == 45


@pytest.mark.parametrize(
    ("values", "field"),
    [({"hands": 0}, "hands"), ({"rig_min": 61}, "rig_min"), ({"lead_min": 14}, "lead_min"),
     ({"rig_min": 50, "lead_min": 45}, "lead_min")],
)  # fmt: skip
def test_a_number_that_cannot_be_is_refused_by_its_field(
    values: dict[str, int], field: str, day: Day
) -> None:
    with pytest.raises(services.UnableToSetCrew) as refused:
        set_crew(day, **values)

    assert list(refused.value.fields) == [field]
    assert not Crew.objects.exists()


@pytest.mark.both_engines
@pytest.mark.parametrize("change", [{"hands": 0}, {"rig_min": 4}, {"lead_min": 11}, {"lead_min": 241}])
def test_the_database_refuses_it_too(change: dict[str, Any], day: Day) -> None:
    crew = set_crew(day)

    with pytest.raises(IntegrityError), transaction.atomic():
        Crew.objects.filter(pk=crew.pk).update(**change)


def test_the_page_keeps_what_was_typed_when_it_is_refused(day: Day, client: Client) -> None:
    client.force_login(day.cast.manager)
    page = reverse("rig-crew", args=[day.cast.tarrow.slug])

    refused = client.post(page, {"hands": "40", "rig_min": "12", "lead_min": "45"})
    taken = client.post(page, {"hands": "4", "rig_min": "12", "lead_min": "45"})

    assert (refused.status_code, taken.status_code) == (422, 302)
    assert 'value="40"' in refused.content.decode()
    assert queries.crew_of(day.cast.tarrow).hands == 4
