"""Problems: RFC 9457 in shape, whatever went wrong; JSON pointers by RFC 6901; nothing of the fault told."""

import json
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from api.problems import OWN, kinds
from rentals.afloat import services as afloat
from rentals.desk import queries
from rentals.lib.problems import Refused
from rigging.units import BadValue
from tests.api.bodies import BEACH, a_party, a_rider
from tests.api.client import ROOT, Answer, Api
from tests.cast import Cast

MEMBERS = {"type", "title", "status", "detail", "instance"}
"""RFC 9457, section 3.1."""


def shaped(answer: Answer, status: int, slug: str) -> Answer:
    """Return the answer, seen to be the problem it should be."""
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.status == answer.said["status"] == status, answer.said
    assert answer.said["type"] == f"/api/v1/problems/{slug}/"
    assert answer.said.keys() - {"errors"} == MEMBERS
    return answer


class TestProblem:
    """What is answered when it goes wrong."""

    def test_without_a_token_is_401_and_names_the_scheme(self, api: Api) -> None:
        answer = shaped(api.get("/stations/"), 401, "not-signed-in")

        assert answer.headers["WWW-Authenticate"] == "Token"

    @pytest.mark.parametrize("token", ["Token", "Token x y", "Token not-one", "Token é", "Token a\0b"])
    def test_with_a_broken_token_is_401(self, token: str, api: Api) -> None:
        answer = Answer(Client(headers={"Authorization": token}).get(f"{ROOT}/stations/"))

        shaped(answer, 401, "not-signed-in")

    def test_with_a_session_of_the_pages_is_401(self, cast: Cast, api: Api) -> None:
        """A cookie counts for the pages only, so no page elsewhere can act with it."""
        api.client.force_login(cast.desk)

        shaped(api.get("/stations/"), 401, "not-signed-in")

    def test_of_a_role_that_may_not_is_403(self, cast: Cast, api: Api) -> None:
        answer = api.of(cast.instructor).post(f"/stations/{cast.tarrow.slug}/bookings/", a_party())

        shaped(answer, 403, "not-allowed")

    @pytest.mark.parametrize(
        "place", ["/outings/77/", "/outings/99999999999999999999/", "/stations/nowhere/"]
    )
    def test_of_what_is_not_there_is_404(self, place: str, cast: Cast, api: Api) -> None:
        shaped(api.of(cast.manager).get(place), 404, "not-found")

    @pytest.mark.parametrize("place", ["/", "/nothing/", "/stations", "/outings/one/"])
    def test_of_an_address_that_leads_nowhere_is_404(self, place: str, api: Api) -> None:
        shaped(api.get(place), 404, "not-found")

    def test_of_a_method_that_is_not_there_is_405(self, cast: Cast, api: Api) -> None:
        answer = shaped(api.of(cast.manager).delete("/stations/"), 405, "method-not-allowed")

        assert answer.headers["Allow"] == "GET, HEAD, OPTIONS"

    def test_of_an_answer_in_another_form_is_406(self, cast: Cast, api: Api) -> None:
        client = api.of(cast.desk).client

        answer = Answer(client.get(f"{ROOT}/stations/", headers={"Accept": "application/xml"}))

        shaped(answer, 406, "not-acceptable")

    def test_of_a_state_that_has_moved_on_is_409(self, cast: Cast, api: Api) -> None:
        (outing,) = cast.booked()

        answer = api.of(cast.desk).post(f"/outings/{outing.pk}/ashore/")

        shaped(answer, 409, "outing-state")

    def test_of_too_large_a_body_is_413(self, cast: Cast, api: Api) -> None:
        content = b"x" * (5 * 2**20 + 1)

        answer = api.of(cast.instructor).send(
            f"/stations/{cast.tarrow.slug}/weather/files/", content, "text/plain"
        )

        shaped(answer, 413, "too-large")

    def test_of_a_form_instead_of_json_is_415(self, cast: Cast, api: Api) -> None:
        client = api.of(cast.desk).client

        answer = Answer(client.post(f"{ROOT}/stations/{cast.tarrow.slug}/bookings/", {"kind": "rental"}))

        shaped(answer, 415, "unsupported-media-type")

    @pytest.mark.parametrize(
        "body",
        [
            b'{"kind": ',
            b"[" * 100_000,
            b'{"mass_kg": NaN}',
            b"\xff\xfe",
            b'{"mass_kg": ' + b"9" * 5000 + b"}",
        ],
        ids=["cut off", "too deep", "not a number", "not UTF-8", "endless number"],
    )
    def test_of_what_is_no_json_is_400(self, body: bytes, cast: Cast, api: Api) -> None:
        answer = api.of(cast.desk).send(f"/stations/{cast.tarrow.slug}/bookings/", body, "application/json")

        shaped(answer, 400, "malformed")

    def test_of_a_list_where_fields_belong_is_422(self, cast: Cast, api: Api) -> None:
        answer = api.of(cast.desk).post(f"/stations/{cast.tarrow.slug}/bookings/", [])

        assert shaped(answer, 422, "invalid").blamed.keys() == {""}

    def test_names_each_field_by_its_pointer(self, cast: Cast, api: Api) -> None:
        riders = [a_rider(), a_rider(mass_kg="heavy", level="hero")]

        answer = api.of(cast.desk).post(
            f"/stations/{cast.tarrow.slug}/bookings/", a_party(kind="swim", new_riders=riders)
        )

        assert shaped(answer, 422, "invalid").blamed.keys() == {
            "/kind",
            "/new_riders/1/mass_kg",
            "/new_riders/1/level",
        }

    def test_escapes_a_name_in_a_pointer(self, cast: Cast, api: Api) -> None:
        """RFC 6901, section 3: ~ is written ~0, / is written ~1."""
        answer = api.of(cast.desk).post(f"/stations/{cast.tarrow.slug}/bookings/", a_party(**{"a/b~c": 1}))

        assert shaped(answer, 422, "invalid").blamed.keys() == {"/a~1b~0c"}

    def test_names_a_field_that_cannot_be_said_back(self, cast: Cast, api: Api) -> None:
        """A lone surrogate is JSON by RFC 8259, section 8.2, but no UTF-8."""
        answer = api.of(cast.desk).post(f"/stations/{cast.tarrow.slug}/bookings/", {"\ud800": 1})

        assert shaped(answer, 422, "invalid").blamed.keys() == {"/?"}

    def test_names_a_parameter_of_the_query(self, cast: Cast, api: Api) -> None:
        answer = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/outings/", day="soon", colour="red")

        assert shaped(answer, 400, "bad-query").said["errors"][0]["parameter"] == "colour"

    def test_of_a_formula_is_422(self, cast: Cast, api: Api, monkeypatch: pytest.MonkeyPatch) -> None:
        def refuse(*_args: Any, **_named: Any) -> None:
            raise BadValue("mass", 400, "kg", "between 20 and 160")

        monkeypatch.setattr(afloat, "log_beach", refuse)

        answer = shaped(
            api.of(cast.instructor).post(f"/stations/{cast.tarrow.slug}/beach/", BEACH), 422, "bad-value"
        )
        assert answer.said["detail"] == "mass is 400 kg; it must be between 20 and 160 kg"

    def test_of_a_fault_of_ours_is_500_and_tells_nothing_of_it(
        self, cast: Cast, api: Api, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
    ) -> None:
        def break_down(*_args: Any, **_named: Any) -> None:
            raise RuntimeError("password=hunter2")

        monkeypatch.setattr(queries, "board", break_down)

        answer = api.of(cast.desk, raises=False).get(f"/stations/{cast.tarrow.slug}/today/")

        shaped(answer, 500, "unexpected")
        assert "hunter2" not in json.dumps(answer.said)
        assert "hunter2" in caplog.text


class TestKinds:
    """Where a problem's type leads."""

    @pytest.mark.parametrize("slug", sorted(kinds()))
    def test_each_kind_is_explained_at_its_address(self, slug: str, api: Api) -> None:
        said = api.get(f"/problems/{slug}/").said

        assert said["type"] == f"/api/v1/problems/{slug}/"
        assert said["title"]
        assert said["meaning"]

    def test_no_two_refusals_share_a_slug(self) -> None:
        def below(kind: type[Refused]) -> list[str]:
            return [kind.slug, *(slug for each in kind.__subclasses__() for slug in below(each))]

        slugs = below(Refused)

        assert sorted(slugs) == sorted({*slugs})
        assert not set(slugs) & (set(OWN) - {"not-found"})

    def test_an_unknown_kind_is_404(self, api: Api) -> None:
        shaped(api.get("/problems/no-such-thing/"), 404, "not-found")


class TestKey:
    """The Idempotency-Key (draft-ietf-httpapi-idempotency-key-header: a quoted string; bare is taken too)."""

    @pytest.mark.parametrize("key", ["one", '"two', "", '"7d9f1d0e-5b0a-4f0c-9a53"', "7d9f"])
    def test_that_is_no_uuid_is_400(self, key: str, cast: Cast, api: Api) -> None:
        answer = api.of(cast.desk).post(f"/stations/{cast.tarrow.slug}/bookings/", a_party(), once=key)

        shaped(answer, 400, "idempotency-key")

    @pytest.mark.parametrize("form", ["{}", '"{}"'], ids=["bare", "quoted"])
    def test_lets_the_same_request_count_once(self, form: str, cast: Cast, api: Api) -> None:
        desk, key = api.of(cast.desk), form.format(uuid4())
        place = f"/stations/{cast.tarrow.slug}/bookings/"

        first, again = (desk.post(place, a_party(), once=key) for _ in range(2))

        assert (first.status, again.status) == (201, 201)
        assert first.said == again.said
        assert len(desk.get(place).said["results"]) == 1

    def test_that_served_another_request_is_422(self, cast: Cast, api: Api) -> None:
        desk, key = api.of(cast.desk), uuid4()
        place = f"/stations/{cast.tarrow.slug}/bookings/"
        desk.post(place, a_party(), once=key)

        shaped(desk.post(place, a_party(note="with a dog"), once=key), 422, "key-reused")

    def test_lets_a_fault_be_reported_once(self, cast: Cast, api: Api) -> None:
        desk, key, place = api.of(cast.desk), uuid4(), f"/items/{cast.shed['S1'].pk}/faults/"

        first, again = (desk.post(place, {"fault": "Tear"}, once=key) for _ in range(2))

        assert first.said["id"] == again.said["id"]

    def test_lets_a_kit_be_chosen_once(self, cast: Cast, api: Api) -> None:
        desk, key, (outing,) = api.of(cast.desk), uuid4(), cast.booked()
        cast.blow()
        body = {"sail_id": cast.shed["S2"].pk, "board_id": cast.shed["D1"].pk}

        first, again = (desk.post(f"/outings/{outing.pk}/kit/", body, once=key) for _ in range(2))

        assert (first.said["kit_no"], again.said["kit_no"]) == (1, 1)

    def test_lets_a_launch_check_be_logged_once(self, cast: Cast, api: Api) -> None:
        instructor, key, outing = api.of(cast.instructor), uuid4(), cast.issued()
        body = {"kit_no": 1, "ticked": []}

        first, again = (
            instructor.post(f"/outings/{outing.pk}/launch-checks/", body, once=key) for _ in range(2)
        )

        assert first.said["id"] == again.said["id"]

    @pytest.mark.parametrize(
        ("rest", "body", "by"),
        [
            ("sightings/", {}, "desk"),
            ("extend/", {"minutes": 15}, "instructor"),
            ("swap-kit/", None, "desk"),
        ],
    )
    def test_lets_what_is_done_on_the_water_count_once(
        self, rest: str, body: Any, by: str, cast: Cast, api: Api
    ) -> None:
        caller, key, outing = api.of(getattr(cast, by)), uuid4(), cast.out()

        first, again = (caller.post(f"/outings/{outing.pk}/{rest}", body, once=key) for _ in range(2))

        assert first.status == again.status < 300
        assert (first.said["id"], first.said.get("ends_at")) == (again.said["id"], again.said.get("ends_at"))

    @pytest.mark.parametrize(
        ("rest", "body"), [("recall/", {}), ("head-counts/", {"counted": 0}), ("beach/", BEACH)]
    )
    def test_lets_what_is_said_of_a_station_count_once(
        self, rest: str, body: Any, cast: Cast, api: Api
    ) -> None:
        caller, key, place = api.of(cast.manager), uuid4(), f"/stations/{cast.tarrow.slug}/{rest}"

        first, again = (caller.post(place, body, once=key) for _ in range(2))

        assert (first.status, first.said) == (201, again.said)

    def test_lets_an_item_be_withdrawn_once(self, cast: Cast, api: Api) -> None:
        manager, key, place = api.of(cast.manager), uuid4(), f"/items/{cast.shed['S1'].pk}/withdraw/"

        first, again = (manager.post(place, {"reason": "Torn for good"}, once=key) for _ in range(2))

        assert (first.status, again.status) == (200, 200)

    def test_lets_kit_be_taken_back_once(self, cast: Cast, api: Api) -> None:
        desk, key, outing = api.of(cast.desk), uuid4(), cast.out()
        body = {"lines": [{"item_id": part.item_id, "back": True} for part in cast.kit_of(outing)]}

        first, again = (desk.post(f"/outings/{outing.pk}/return-checks/", body, once=key) for _ in range(2))

        assert (first.status, again.status) == (201, 201)
        assert first.said["id"] == again.said["id"]
