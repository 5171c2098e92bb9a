"""Bad input: each a clear sentence by the field, nothing half done, and never a fault of ours."""

from pathlib import Path
from typing import Any

import pytest

from rentals.bookings.models import Outing
from rentals.people.models import Rider
from tests.api.bodies import BEACH, a_party, a_rider, a_wind
from tests.api.client import Api
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
