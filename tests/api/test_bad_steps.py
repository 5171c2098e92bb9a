"""Steps that cannot be taken: each refused with a clear sentence by the field, nothing half done."""

from collections.abc import Callable
from typing import Any

import pytest

from rentals.fleet.models import Item
from tests.api.client import Answer, Api
from tests.cast import Cast

Change = Callable[[Cast], dict[str, Any]]

KIT: list[tuple[str, Change, str]] = [
    ("a sail that is none", lambda cast: {"sail_id": cast.shed["B1"].pk}, "/sail_id"),
    ("a sail that is not there", lambda cast: {"sail_id": 10**9}, "/sail_id"),
    ("a board that is none", lambda cast: {"board_id": cast.shed["S1"].pk}, "/board_id"),
    ("an SDM mast on RDM parts", lambda cast: _parts(cast, mast="M3", extension="X1"), "/parts/mast"),
    ("a mast as boom", lambda cast: _parts(cast, boom="M1"), "/parts/boom"),
    ("a suit as harness", lambda cast: {"worn": {"harness": cast.shed["W1"].pk}}, "/worn/harness"),
    ("a part that is none", lambda cast: {"parts": {"keel": 1}}, "/parts/keel"),
    ("no board", lambda cast: {"board_id": None}, "/board_id"),
    ("parts as a list", lambda cast: {"parts": [1]}, "/parts"),
]


def _parts(cast: Cast, **named: str) -> dict[str, Any]:
    return {"parts": {kind: cast.shed[tag].pk for kind, tag in named.items()}}


@pytest.mark.parametrize(
    ("change", "pointer"), [pytest.param(change, pointer, id=why) for why, change, pointer in KIT]
)
def test_a_kit_that_cannot_be_given_is_refused_beside_its_part(
    change: Change, pointer: str, cast: Cast, api: Api
) -> None:
    (outing,) = cast.booked()
    cast.blow()
    body = {"sail_id": cast.shed["S2"].pk, "board_id": cast.shed["D1"].pk, **change(cast)}

    answer = api.of(cast.desk).post(f"/outings/{outing.pk}/kit/", body)

    assert (answer.status, list(answer.blamed)) == (422, [pointer])
    outing.refresh_from_db()
    assert (outing.state, outing.kit_no) == ("booked", 0)


def test_a_kit_without_a_wind_is_refused_with_what_to_do(cast: Cast, api: Api) -> None:
    (outing,) = cast.booked()
    body = {"sail_id": cast.shed["S2"].pk, "board_id": cast.shed["D1"].pk}

    answer = api.of(cast.desk).post(f"/outings/{outing.pk}/kit/", body)

    assert answer.status == 422
    assert "Enter the wind by hand or load a file" in answer.said["detail"]


def test_a_sail_against_advice_needs_a_reason_and_then_is_given(cast: Cast, api: Api) -> None:
    beginner = cast.rider("Reed Marsh", level="beginner")
    (outing,) = cast.booked(beginner)
    cast.blow()
    desk, place = api.of(cast.desk), f"/outings/{outing.pk}/kit/"
    body = {"sail_id": cast.shed["S2"].pk, "board_id": cast.shed["D1"].pk}

    refused = desk.post(place, body)
    given = desk.post(place, {**body, "override_reason": "Sails here every summer"})

    assert (refused.status, list(refused.blamed)) == (422, ["/override_reason"])
    assert (given.status, given.said["override_reason"]) == (201, "Sails here every summer")
    assert given.said["choice"]["vetoes"]


def test_an_item_goes_to_one_of_two_who_want_it(cast: Cast, api: Api) -> None:
    first, second = cast.booked(cast.wren, cast.rider("Reed Marsh", level="advanced"))
    cast.blow()
    desk, body = api.of(cast.desk), {"sail_id": cast.shed["S2"].pk, "board_id": cast.shed["D1"].pk}
    assert desk.post(f"/outings/{first.pk}/kit/", body).status == 201

    late = desk.post(f"/outings/{second.pk}/kit/", body)

    assert (late.status, list(late.blamed)) == (422, ["/sail_id"])


def test_a_kit_that_was_swapped_meanwhile_is_not_issued(cast: Cast, api: Api) -> None:
    outing = cast.kitted()

    answer = api.of(cast.desk).post(f"/outings/{outing.pk}/issue/", {"kit_no": 2})

    assert (answer.status, answer.said["type"]) == (409, "/api/v1/problems/outing-state/")


def test_an_item_on_the_bench_is_not_issued(cast: Cast, api: Api) -> None:
    outing = cast.kitted()
    cast.faulty("S2")

    answer = api.of(cast.desk).post(f"/outings/{outing.pk}/issue/", {"kit_no": 1})

    assert (answer.status, answer.said["type"]) == (409, "/api/v1/problems/item-state/")
    assert "S2 is on bench" in answer.said["detail"]


def test_a_check_of_kit_that_is_not_issued_is_refused(cast: Cast, api: Api) -> None:
    outing = cast.kitted()

    answer = api.of(cast.instructor).post(f"/outings/{outing.pk}/launch-checks/", {"kit_no": 1, "ticked": []})

    assert (answer.status, answer.said["type"]) == (422, "/api/v1/problems/launch-refused/")


def test_a_check_that_did_not_pass_is_logged_and_lets_nobody_go(cast: Cast, api: Api) -> None:
    outing = cast.issued()

    said = (
        api.of(cast.instructor)
        .post(f"/outings/{outing.pk}/launch-checks/", {"kit_no": 1, "ticked": [], "launch": True})
        .said
    )

    assert (said["passed"], said["state"]) == (False, "kitted")


def test_a_reason_opens_no_hard_gate(cast: Cast, api: Api) -> None:
    """The waiver gate is hard: common practice, no source."""
    outing = cast.issued(cast.moss)
    sheet = api.of(cast.instructor).get(f"/outings/{outing.pk}/launch-sheet/").said
    ticked = [point["key"] for point in sheet["points"]]

    said = (
        api.of(cast.instructor)
        .post(
            f"/outings/{outing.pk}/launch-checks/",
            {"kit_no": 1, "ticked": ticked, "overrides": {"waiver": "Signs later"}, "launch": True},
        )
        .said
    )

    assert {gate["name"] for gate in said["gates"] if not gate["passed"]} == {"waiver"}
    assert (said["passed"], said["state"]) == (False, "kitted")


RETURNS: list[tuple[str, Callable[[list[dict[str, Any]]], Any], str | None]] = [
    ("a line left out", lambda lines: lines[1:], None),
    ("a line twice", lambda lines: [*lines, lines[0]], None),
    ("an item of somebody else", lambda lines: [*lines[1:], {"item_id": 10**9, "back": True}], None),
    (
        "a fault of what is missing",
        lambda lines: [{**lines[0], "back": False, "fault": "Tear"}, *lines[1:]],
        "/lines/0/fault",
    ),
    ("neither back nor missing", lambda lines: [{"item_id": 1}], "/lines/0/back"),
    ("no lines", lambda lines: None, "/lines"),
]


@pytest.mark.parametrize(
    ("change", "pointer"), [pytest.param(change, pointer, id=why) for why, change, pointer in RETURNS]
)
def test_a_return_that_does_not_add_up_is_refused(
    change: Callable[[list[dict[str, Any]]], Any], pointer: str | None, cast: Cast, api: Api
) -> None:
    outing = cast.out()
    lines = [{"item_id": part.item_id, "back": True} for part in cast.kit_of(outing)]

    answer = api.of(cast.desk).post(f"/outings/{outing.pk}/return-checks/", {"lines": change(lines)})

    assert (answer.status, list(answer.blamed)) == (422, [pointer] if pointer else [])
    outing.refresh_from_db()
    assert outing.state == "afloat"


def test_what_is_missing_keeps_the_outing_open(cast: Cast, api: Api) -> None:
    outing = cast.out()
    lines = [{"item_id": part.item_id, "back": part.part != "board"} for part in cast.kit_of(outing)]

    answer = api.of(cast.desk).post(f"/outings/{outing.pk}/return-checks/", {"lines": lines})

    assert (answer.status, answer.said["state"]) == (201, "ashore")


BENCH: list[tuple[str, str, Any, int, list[str]]] = [
    ("a fault without words", "/items/{item}/faults/", {"fault": " "}, 422, ["/fault"]),
    ("a withdrawal without a reason", "/items/{item}/withdraw/", {"reason": ""}, 422, ["/reason"]),
    ("mending without words", "/jobs/{job}/mend/", {"work": ""}, 422, ["/work"]),
    ("mending for days", "/jobs/{job}/mend/", {"work": "Glue", "minutes": 6001}, 422, ["/minutes"]),
    ("mending twice", "/jobs/{mended}/mend/", {"work": "Glue"}, 409, []),
    ("releasing what is not mended", "/jobs/{job}/release/", None, 409, []),
    ("cancelling without a reason", "/outings/{outing}/cancel/", {"reason": "  "}, 422, ["/reason"]),
]


@pytest.mark.parametrize(
    ("place", "body", "status", "blamed"), [pytest.param(*rest, id=why) for why, *rest in BENCH]
)
def test_what_the_bench_cannot_do_is_refused(
    place: str, body: Any, status: int, blamed: list[str], cast: Cast, api: Api
) -> None:
    known = {
        "item": cast.shed["B1"].pk,
        "job": cast.faulty("S1").pk,
        "mended": cast.mended("S3").pk,
        "outing": cast.booked()[0].pk,
    }

    answer: Answer = api.of(cast.manager).post(place.format(**known), body)

    assert (answer.status, list(answer.blamed)) == (status, blamed)


def test_who_mended_a_mast_does_not_release_it(cast: Cast, api: Api) -> None:
    """Two pairs of eyes on what can hurt: common practice, no source."""
    job = cast.mended("M1")

    by_self, by_other = (
        api.of(user).post(f"/jobs/{job.pk}/release/") for user in (cast.manager, cast.instructor)
    )

    assert (by_self.status, by_other.status) == (422, 200)


def test_tapping_twice_issues_launches_and_lands_once(cast: Cast, api: Api) -> None:
    outing, instructor = cast.kitted(), api.of(cast.instructor)
    cast.watch_the_beach()

    issued = [instructor.post(f"/outings/{outing.pk}/issue/", {"kit_no": 1}) for _ in range(2)]
    outing.refresh_from_db()
    cast.checked(outing, launch=False)
    launched = [instructor.post(f"/outings/{outing.pk}/launch/") for _ in range(2)]
    landed = [instructor.post(f"/outings/{outing.pk}/ashore/") for _ in range(2)]

    assert [answer.status for answer in issued + launched + landed] == [200] * 6
    said = [entry["text"] for entry in landed[1].said["journal"]]
    assert sum(text.startswith("Issued") for text in said) == 1
    assert said.count("Wren Alder is ashore") == 1


def test_a_tag_of_another_station_is_not_found_by_its_number(cast: Cast, api: Api) -> None:
    item = cast.shed["S1"]
    Item.objects.filter(pk=item.pk).update(station=cast.kettle)

    assert api.of(cast.desk).get(f"/items/{item.pk}/").status == 404
