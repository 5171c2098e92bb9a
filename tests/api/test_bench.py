"""The bench over the API: inspections, what is noted on jobs, recalls of kit."""

from datetime import timedelta

import pytest

from rigging.wear import planned
from tests.api.client import Api
from tests.cast import Cast
from tests.rentals.walk import Walk

SAIL = planned("sail")[0]


@pytest.fixture
def walk(cast: Cast) -> Walk:
    """The cast, and steps of a rider's day."""
    return Walk(cast.now)


def test_an_inspection_that_found_a_defect_opens_a_job(walk: Walk, api: Api) -> None:
    beach = api.of(walk.instructor)
    place = f"/items/{walk.shed['S1'].pk}/inspections/"

    said = beach.post(place, {"name": SAIL.rule.name, "in_order": [], "defects": "Panel torn"}).said

    assert (said["passed"], said["defects"], said["item"]["tag"]) == (False, "Panel torn", "S1")
    assert [point["ok"] for point in said["points"]] == [False] * len(SAIL.points)
    (job,) = beach.get(f"/stations/{walk.tarrow.slug}/jobs/").said["results"]
    assert "Panel torn" in job["fault"]


def test_inspections_on_record_are_found_by_item(walk: Walk, api: Api) -> None:
    beach = api.of(walk.instructor)
    body = {"name": SAIL.rule.name, "in_order": list(range(len(SAIL.points)))}
    for tag in ("S1", "S2"):
        beach.post(f"/items/{walk.shed[tag].pk}/inspections/", body)

    found = beach.get(f"/stations/{walk.tarrow.slug}/inspections/", item_id=walk.shed["S2"].pk).said

    assert [each["item"]["tag"] for each in found["results"]] == ["S2"]


def test_what_is_due_says_why(walk: Walk, api: Api) -> None:
    sail = walk.shed["S1"]
    sail.bought_on = walk.now.date() - timedelta(days=4000)
    sail.save()

    due = api.of(walk.desk).get(f"/stations/{walk.tarrow.slug}/inspections/due/").said

    ours = [each for each in due if each["item"]["tag"] == "S1"]
    assert ours
    assert all(each["used"] >= 1 and each["reason"]["text"] for each in ours)


def test_costs_noted_on_a_job_carry_the_benchs_currency(walk: Walk, api: Api) -> None:
    beach = api.of(walk.instructor)
    place = f"/jobs/{walk.faulty().pk}/lines/"

    beach.post(place, {"kind": "parts", "text": "Batten", "cost": "12.50", "minutes": 5})

    (line,) = beach.get(place).said
    assert (line["cost"], line["currency"], line["minutes"], line["due_on"]) == ("12.50", "EUR", 5, None)


def test_a_recall_names_the_outing_that_has_an_item(walk: Walk, api: Api) -> None:
    outing = walk.out()
    body = {"model_id": walk.shed["M1"].model_id, "reason": "Ferrule may crack"}

    said = api.of(walk.manager).post(f"/stations/{walk.tarrow.slug}/kit-recalls/", body).said

    assert said["recall"]["reason"] == "Ferrule may crack"
    assert ("M1", outing.pk) in [(each["item"]["tag"], each["outing_id"]) for each in said["items"]]


def test_a_batch_that_is_not_there_is_said_at_its_field(walk: Walk, api: Api) -> None:
    body = {"model_id": walk.shed["M1"].model_id, "reason": "Crack", "batch": "no such"}

    answer = api.of(walk.manager).post(f"/stations/{walk.tarrow.slug}/kit-recalls/", body)

    assert (answer.status, [each["pointer"] for each in answer.said["errors"]]) == (422, ["/batch"])
