"""Bad input: each a clear sentence by the field, nothing half done, and never a fault of ours."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from rentals.bookings.models import Outing
from rentals.fleet.models import Item
from rentals.lib import clock
from rentals.people.models import Rider
from tests.api.bodies import BEACH, a_party, a_rider, a_wind
from tests.api.client import Answer, Api
from tests.cast import Cast

SAMPLES = Path(__file__).parents[2] / "fixtures" / "samples"

HUGE = 10**400

RIDER = [
    ("mass_kg", 19.9, "least"),
    ("mass_kg", 160.1, "most"),
    ("mass_kg", -72, "negative"),
    ("mass_kg", 0, "none"),
    ("mass_kg", "72", "text"),
    ("mass_kg", True, "a boolean"),
    ("mass_kg", None, "null"),
    ("mass_kg", 72.25, "too fine"),
    ("mass_kg", HUGE, "huge"),
    ("stature_cm", 99, "least"),
    ("stature_cm", 221, "most"),
    ("stature_cm", 1.76, "in metres"),
    ("stature_cm", "tall", "a word"),
    ("stature_cm", HUGE, "huge"),
    ("born_on", "2027-07-15", "tomorrow"),
    ("born_on", "2023-01-01", "an infant"),
    ("born_on", "1899-12-31", "a century and more"),
    ("born_on", "1910-01-01", "over a hundred"),
    ("born_on", "01.04.1992", "another form"),
    ("born_on", "1993-02-29", "no such day"),
    ("born_on", 19920405, "a number"),
    ("level", "hero", "unknown"),
    ("level", "", "empty"),
    ("name", "", "empty"),
    ("name", "   ", "blank"),
    ("name", "x" * 121, "too long"),
    ("name", "a\0b", "with a NUL"),
    ("name", "\ud800", "half a character"),
    ("name", ["Wren"], "a list"),
    ("swims", "perhaps", "neither"),
    ("phone", "0" * 31, "too long"),
    ("mass_lb", 158, "an unknown unit"),
]


@pytest.mark.parametrize(
    ("field", "value"), [pytest.param(field, value, id=f"{field}: {why}") for field, value, why in RIDER]
)
class TestRider:
    """A rider's facts, alone and in a booking."""

    def test_is_refused_beside_the_field(self, field: str, value: Any, cast: Cast, api: Api) -> None:
        answer = api.of(cast.desk).put(f"/riders/{cast.wren.pk}/", a_rider(**{field: value}))

        assert (answer.status, list(answer.blamed)) == (422, [f"/{field}"])

    def test_books_nobody_and_names_the_rider(self, field: str, value: Any, cast: Cast, api: Api) -> None:
        body = a_party(rider_ids=[cast.wren.pk], new_riders=[a_rider(), a_rider(**{field: value})])

        answer = api.of(cast.desk).post(f"/stations/{cast.tarrow.slug}/bookings/", body)

        assert (answer.status, list(answer.blamed)) == (422, [f"/new_riders/1/{field}"])
        assert not Outing.objects.exists()
        assert Rider.objects.count() == 1


@pytest.mark.parametrize("field", ["name", "born_on", "mass_kg", "stature_cm", "level", "swims"])
def test_a_rider_lacks_no_fact(field: str, cast: Cast, api: Api) -> None:
    body = a_rider()
    del body[field]

    answer = api.of(cast.desk).put(f"/riders/{cast.wren.pk}/", body)

    assert answer.blamed == {f"/{field}": "This field is required."}


def test_a_consent_needs_who_consents(cast: Cast, api: Api) -> None:
    answer = api.of(cast.desk).put(f"/riders/{cast.wren.pk}/", a_rider(consent=True))

    assert answer.blamed == {"/guardian_name": "Enter who consented."}


BOOKING = [
    ({"ends_at": "2027-07-14T11:00+01:00"}, "/ends_at", "no time at all"),
    ({"ends_at": "2027-07-14T10:59+01:00"}, "/ends_at", "ends before it starts"),
    ({"starts_at": "2027-07-14T07:30+01:00"}, "/starts_at", "before opening"),
    ({"ends_at": "2027-07-14T19:30+01:00"}, "/starts_at", "after closing"),
    ({"ends_at": "2027-07-15T10:00+01:00"}, "/ends_at", "over night"),
    (
        {"starts_at": "2027-07-13T11:00+01:00", "ends_at": "2027-07-13T12:00+01:00"},
        "/ends_at",
        "over already",
    ),
    ({"contact": {"name": "Sorrel"}}, "/contact/phone", "nobody to reach"),
    ({"contact": {"name": "Sorrel", "email": "sorrel"}}, "/contact/email", "no address"),
    ({"contact": {"phone": "0700"}}, "/contact/name", "without a name"),
    ({"contact": None}, "/contact", "no contact"),
    ({"contact": "Sorrel"}, "/contact", "contact as text"),
    ({"kind": "swim"}, "/kind", "unknown kind"),
    ({"new_riders": []}, "/new_riders", "nobody comes"),
    ({"new_riders": "Sorrel"}, "/new_riders", "riders as text"),
    ({"new_riders": [], "rider_ids": [99]}, "/rider_ids/0", "unknown rider"),
    ({"rider_ids": [0]}, "/rider_ids/0", "no number of a rider"),
    ({"rider_ids": [2**63]}, "/rider_ids/0", "number too large"),
    ({"rider_ids": list(range(1, 22))}, "/rider_ids", "a crowd"),
    ({"rider_ids": list(range(1, 21))}, "/new_riders", "a crowd in two lists"),
    ({"note": "x" * 301}, "/note", "note too long"),
]


@pytest.mark.parametrize(
    ("other", "pointer"), [pytest.param(other, pointer, id=why) for other, pointer, why in BOOKING]
)
def test_a_booking_that_cannot_be_is_refused_beside_its_field(
    other: dict[str, Any], pointer: str, cast: Cast, api: Api
) -> None:
    answer = api.of(cast.desk).post(f"/stations/{cast.tarrow.slug}/bookings/", a_party(**other))

    assert (answer.status, list(answer.blamed)) == (422, [pointer])
    assert not Outing.objects.exists()


def test_a_rider_of_another_station_is_unknown_here(cast: Cast, api: Api) -> None:
    abroad = cast.rider("Dune Heath", station=cast.kettle)

    answer = api.of(cast.desk).post(f"/stations/{cast.tarrow.slug}/bookings/", a_party(rider_ids=[abroad.pk]))

    assert answer.blamed == {"/rider_ids/0": "Choose a rider known here."}


def test_a_rider_has_one_outing_at_a_time(cast: Cast, api: Api) -> None:
    cast.booked(cast.wren, hour=12)

    answer = api.of(cast.desk).post(
        f"/stations/{cast.tarrow.slug}/bookings/", a_party(rider_ids=[cast.wren.pk], new_riders=[])
    )

    assert (answer.status, answer.said["type"]) == (409, "/api/v1/problems/rider-booked-twice/")


WIND = [
    ({"mean_10_m_ms": -1}, "/mean_10_m_ms", "negative"),
    ({"mean_10_m_ms": 75.1}, "/mean_10_m_ms", "beyond any"),
    ({"mean_10_m_ms": "NaN"}, "/mean_10_m_ms", "not a number"),
    ({"mean_10_m_ms": HUGE}, "/mean_10_m_ms", "huge"),
    ({"mean_10_m_ms": None}, "/mean_10_m_ms", "null"),
    ({"gust_10_m_ms": 10.9}, "/gust_10_m_ms", "a gust under its mean"),
    ({"gust_10_m_ms": 111}, "/gust_10_m_ms", "a gust beyond any"),
    ({"from_deg": 361}, "/from_deg", "off the rose"),
    ({"from_deg": "NW"}, "/from_deg", "a word"),
    ({"mean_kn": 20}, "/mean_kn", "an unknown unit"),
    ({"ends_at": "2027-07-14T08:00+01:00"}, "/ends_at", "no time at all"),
    ({"ends_at": "2027-07-14T08:00:30+01:00"}, "/ends_at", "half a minute"),
    ({"ends_at": "2027-07-14T07:00+01:00"}, "/ends_at", "ends before it starts"),
    ({"ends_at": "2027-07-15T08:01+01:00"}, "/ends_at", "more than a day"),
    ({"starts_at": "2027-07-14T08:00"}, "/starts_at", "naive"),
]


@pytest.mark.parametrize(
    ("other", "pointer"), [pytest.param(other, pointer, id=why) for other, pointer, why in WIND]
)
def test_a_wind_that_cannot_blow_is_refused_beside_its_field(
    other: dict[str, Any], pointer: str, cast: Cast, api: Api
) -> None:
    instructor, place = api.of(cast.instructor), f"/stations/{cast.tarrow.slug}/weather/"

    answer = instructor.post(f"{place}hand/", a_wind(**other))

    assert (answer.status, list(answer.blamed)) == (422, [pointer])
    assert instructor.get(place).said["newest_run"] is None


SHORE = [
    ({"instructors": -1}, "/instructors"),
    ({"instructors": 51}, "/instructors"),
    ({"instructors": 1.5}, "/instructors"),
    ({"water_c": 46}, "/water_c"),
    ({"water_c": "warm"}, "/water_c"),
    ({"beach_gust_ms": 5}, "/beach_gust_ms"),
    ({"beach_mean_ms": None}, "/beach_gust_ms"),
    ({"from_deg": -1}, "/from_deg"),
    ({"lightning": None}, "/lightning"),
    ({"tide_m": 2}, "/tide_m"),
]


@pytest.mark.parametrize(("other", "pointer"), SHORE)
def test_a_beach_that_cannot_be_is_refused_beside_its_field(
    other: dict[str, Any], pointer: str, cast: Cast, api: Api
) -> None:
    answer = api.of(cast.instructor).post(f"/stations/{cast.tarrow.slug}/beach/", {**BEACH, **other})

    assert (answer.status, list(answer.blamed)) == (422, [pointer])


def _sample(name: str) -> bytes:
    return (SAMPLES / name).read_bytes()


FILES = {
    "empty": b"",
    "truncated": _sample("locationforecast_compact.json")[:3000],
    "unknown units": _sample("locationforecast_compact.json").replace(b'"m/s"', b'"furlongs"'),
    "no wind in it": b'{"type": "Feature"}',
    "nests too deep": b'{"a": ' + b"[" * 100_000,
    "prose": b"A fresh breeze in the afternoon.",
    "binary": bytes(range(256)),
    "METAR and TAF": b"METAR LPMA 140530Z 33018KT\nTAF LPMA 140500Z 1406/1506 33018G28KT=",
    "a wind beyond any": b"METAR LPMA 140530Z 330199KT 9999 20/12 Q1016=",
}


@pytest.mark.parametrize("content", FILES.values(), ids=FILES.keys())
def test_a_file_that_is_no_wind_is_refused_and_what_was_known_stays(
    content: bytes, cast: Cast, api: Api
) -> None:
    cast.blow()
    instructor, place = api.of(cast.instructor), f"/stations/{cast.tarrow.slug}/weather/"
    before = instructor.get(place).said

    answer = instructor.send(f"{place}files/", content, "application/json")

    assert (answer.status, list(answer.blamed)) == (422, [""])
    assert instructor.get(place).said == before


@pytest.mark.parametrize(
    ("name", "media_type", "kind"),
    [
        ("locationforecast_compact.json", "application/json", "locationforecast"),
        ("ndbc_44013_stdmet.txt", "text/plain", "buoy"),
    ],
)
def test_a_real_file_is_taken(name: str, media_type: str, kind: str, cast: Cast, api: Api) -> None:
    """Real files: MET Norway by metno-locationforecast, NOAA NDBC by ndbc-api; see fixtures/samples."""
    answer = api.of(cast.instructor).send(
        f"/stations/{cast.tarrow.slug}/weather/files/", _sample(name), media_type
    )

    assert (answer.status, answer.said["kind"]) == (201, kind)
    assert answer.said["kept"] > 0


def test_a_file_of_an_unread_type_is_415(cast: Cast, api: Api) -> None:
    answer = api.of(cast.instructor).send(
        f"/stations/{cast.tarrow.slug}/weather/files/", b"%PDF-1.7", "application/pdf"
    )

    assert answer.status == 415


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


def test_lateness_carries_its_reason_and_what_to_do(
    cast: Cast, api: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    cast.out(hour=10)
    late = cast.at(12) + timedelta(minutes=30)
    monkeypatch.setattr(clock, "now", lambda: late)

    (row,) = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/today/").said["late"]

    assert row["lateness"]["overdue_min"] == 30
    assert row["lateness"]["reason"]["text"]
    assert row["lateness"]["action"]
