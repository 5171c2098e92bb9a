"""The review over the API: lives with their limits and reasons, months as tables, costs."""

import pytest

from tests.api.client import Api
from tests.cast import Cast
from tests.rentals.review.past import used
from tests.rentals.walk import Walk


@pytest.fixture
def walk(cast: Cast) -> Walk:
    """The cast with a past."""
    return Walk(cast.now)


def test_a_life_says_its_limits_its_records_and_why(walk: Walk, api: Api) -> None:
    used(walk, walk.shed["S1"], hours=[1, 2, 1, 1], faults_after=[1, 2, 3])

    said = api.of(walk.manager).get(f"/stations/{walk.tarrow.slug}/lives/").said["models"]

    life = next(each for each in said if each["model"] == "Samphire 5.0")
    assert (life["faults"], life["records"], life["silent"]) == (3, 4, "")
    assert life["half_by"]["low"] < life["half_by"]["value"] < life["half_by"]["high"]
    assert "3 failures in 4 records" in life["half_by"]["reason"]["text"]
    assert life["replacement"] is None


def test_too_few_records_give_no_figure(walk: Walk, api: Api) -> None:
    used(walk, walk.shed["S1"], hours=[1])

    said = api.of(walk.manager).get(f"/stations/{walk.tarrow.slug}/lives/").said["models"]

    life = next(each for each in said if each["model"] == "Samphire 5.0")
    assert life["half_by"] is None
    assert life["silent"].startswith("Too few to say")


def test_months_come_as_tables(walk: Walk, api: Api) -> None:
    used(walk, walk.shed["S1"], hours=[1, 2])

    place = f"/stations/{walk.tarrow.slug}/review/?since=2027-07-03&until=2027-07-20"
    said = api.of(walk.manager).get(place).said

    assert (said["first_day"], said["last_day"]) == ("2027-07-01", "2027-07-31")
    (months,) = [figure for figure in said["figures"] if figure["name"] == "months"]
    assert months["rows"] == [
        {"Month": "Jul 2027", "Launches": 2, "Cancelled": 0, "Did not come": 0, "Hours afloat": 3.0}
    ]


def test_months_that_run_backwards_are_refused(walk: Walk, api: Api) -> None:
    answer = api.of(walk.manager).get(
        f"/stations/{walk.tarrow.slug}/review/?since=2027-07-03&until=2027-06-20"
    )

    assert answer.status == 400
    assert "Enter a day after the first" in answer.content.decode()


def test_costs_below_nothing_are_refused_with_their_field(walk: Walk, api: Api) -> None:
    place = f"/stations/{walk.tarrow.slug}/costs/{walk.shed['S1'].model_id}/"

    answer = api.of(walk.manager).put(place, {"new_cost": "-1", "fault_cost": "60"})

    assert answer.status == 422
    assert "above 0" in answer.content.decode()
