"""The day plan over the API: from asking to the crew's list, and what it says on the way."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from rentals.dayplan import tasks
from rentals.dayplan.models import Plan
from rigging.allot.check import violations
from rigging.allot.jsonform import to_plan, to_problem
from tests.api.client import Api
from tests.api.plans import a_day, a_wish, asked, listed, ready
from tests.cast import Cast

MOST_QUERIES = 12


def test_it_is_asked_for_solved_looked_at_and_put_in_force(cast: Cast, api: Api) -> None:
    a_day(cast)
    instructor = api.of(cast.instructor)
    waiting = instructor.post(f"/stations/{cast.tarrow.slug}/plans/", {}).said
    assert (waiting["state"], waiting["riders"], waiting["progress"]) == ("waiting", [], 0)

    tasks.solve()
    plan = instructor.get(f"/plans/{waiting['id']}/").said
    assert (plan["state"], plan["served"], plan["proven"]) == ("ready", 1, True)
    assert plan["quality"] == "Proven: no plan of this day is better."
    assert [row["outing"]["rider"]["name"] for row in plan["riders"]] == ["Wren Alder"]
    assert {part["part"] for part in plan["rigs"][0]["parts"]} == {"sail", "mast", "extension", "boom"}

    accepted = instructor.post(f"/plans/{plan['id']}/accept/").said
    assert accepted["state"] == "accepted"
    (task,) = accepted["tasks"]
    assert task["due_at"].endswith("+01:00")

    ticked = api.of(cast.desk).post(f"/rig-tasks/{task['id']}/tick/", {"built": True}).said
    assert ticked["ticked_at"] == "2027-07-14T10:00:00+01:00"
    assert ticked["sail"]["state"] == "rigged"


def test_its_papers_pass_the_check_of_whoever_doubts_them(cast: Cast, api: Api) -> None:
    papers = api.of(cast.desk).get(f"/plans/{ready(cast).pk}/papers/").said

    problem = to_problem(papers["instance"])
    assert violations(problem, to_plan(papers["plan"], problem)) == ()


def test_the_same_request_sent_again_asks_once(cast: Cast, api: Api) -> None:
    a_day(cast)
    instructor, key = api.of(cast.instructor), uuid4()

    answers = [instructor.post(f"/stations/{cast.tarrow.slug}/plans/", {}, once=key) for _ in range(2)]

    assert answers[0].said["id"] == answers[1].said["id"]
    assert Plan.objects.count() == 1


def test_a_day_without_riders_is_refused_by_its_field(cast: Cast, api: Api) -> None:
    answer = api.of(cast.instructor).post(f"/stations/{cast.tarrow.slug}/plans/", {"day": "2027-07-20"})

    assert (answer.status, list(answer.blamed)) == (422, ["/day"])


def test_what_has_changed_since_is_named(cast: Cast, api: Api) -> None:
    plan = ready(cast)
    assert plan.result is not None
    sail = plan.result["rigs"][0]["sail"]
    cast.faulty(sail)

    answer = api.of(cast.instructor).post(f"/plans/{plan.pk}/accept/")

    assert (answer.status, answer.said["type"]) == (409, "/api/v1/problems/plan-changed/")
    assert f"{sail} cannot be given any more" in answer.said["detail"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [({"sail": "Sea Holly 8.5"}, "/sail"), ({"outing_id": 10**9}, "/outing_id"), ({"sail": ""}, "/sail")],
)
def test_a_choice_that_cannot_be_is_refused_by_its_field(
    change: dict[str, object], pointer: str, cast: Cast, api: Api
) -> None:
    plan = ready(cast)
    body = {"outing_id": int(plan.inputs["demands"][0]["id"]), "sail": "Samphire 5.0", **change}

    answer = api.of(cast.instructor).post(f"/plans/{plan.pk}/adjust/", body)

    assert (answer.status, list(answer.blamed)) == (422, [pointer])


def test_plans_are_listed_by_day_and_state(cast: Cast, api: Api) -> None:
    asked(cast)
    desk, place = api.of(cast.desk), f"/stations/{cast.tarrow.slug}/plans/"

    assert len(desk.get(place, day="2027-07-14", state="waiting").said["results"]) == 1
    assert desk.get(place, state="ready").said["results"] == []
    assert desk.get(place, day="2027-07-15").said["results"] == []


def test_a_plan_is_read_in_a_bounded_number_of_queries(cast: Cast, api: Api) -> None:
    plan, desk = listed(cast).plan, api.of(cast.desk)

    with CaptureQueriesContext(connection) as looked:
        assert desk.get(f"/plans/{plan.pk}/").status == 200
    with CaptureQueriesContext(connection) as leafed:
        assert desk.get(f"/stations/{cast.tarrow.slug}/plans/").status == 200

    assert max(len(looked), len(leafed)) <= MOST_QUERIES


def test_a_party_is_told_in_which_wind_it_would_go_short_and_of_what(cast: Cast, api: Api) -> None:
    """The shed rigs one sail for a rider of this kind at a time; Wren is booked for it."""
    a_day(cast)

    said = api.of(cast.desk).post(f"/stations/{cast.tarrow.slug}/promises/", a_wish()).said

    assert said["holds"] is False
    assert [outlook["wind"] for outlook in said["outlooks"]] == ["light", "middle", "strong"]
    (short,) = said["outlooks"][1]["short"]
    assert (short["place"], "mast" in short["remedy"]) == (0, True)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"ends_at": "2027-07-14T10:30+01:00"}, "/ends_at"),
        ({"ends_at": "2027-07-15T13:00+01:00"}, "/ends_at"),
        ({"starts_at": "2027-07-14T09:55+01:00"}, "/starts_at"),
        ({"riders": []}, "/riders"),
    ],
)
def test_a_time_of_which_nothing_can_be_said_is_refused_by_its_field(
    change: dict[str, object], pointer: str, cast: Cast, api: Api
) -> None:
    a_day(cast)

    answer = api.of(cast.desk).post(f"/stations/{cast.tarrow.slug}/promises/", a_wish(**change))

    assert (answer.status, list(answer.blamed)) == (422, [pointer])
