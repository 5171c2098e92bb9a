"""Times: ISO 8601 with an offset in and out, on days when clocks change too."""

from datetime import UTC, datetime

import pytest

from rentals.lib import clock
from tests.api.bodies import a_party, a_wind
from tests.api.client import Api
from tests.cast import Cast

SPRING = "2027-03-28"
AUTUMN = "2027-10-31"
"""Clocks of Europe/Lisbon change at 01:00 UTC on these last Sundays (directive 2000/84/EC)."""


def test_times_go_out_on_the_station_s_clock(cast: Cast, api: Api) -> None:
    cast.booked(hour=11)

    (outing,) = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/outings/").said["results"]

    assert outing["starts_at"] == "2027-07-14T11:00:00+01:00"


@pytest.mark.parametrize(
    "written",
    ["2027-07-14T11:00+01:00", "2027-07-14T10:00Z", "2027-07-14T12:00:00.0+02:00"],
    ids=["the station's", "UTC", "another"],
)
def test_any_offset_names_the_same_moment(written: str, cast: Cast, api: Api) -> None:
    said = api.of(cast.desk).post(f"/stations/{cast.tarrow.slug}/bookings/", a_party(starts_at=written)).said

    assert datetime.fromisoformat(said["outings"][0]["starts_at"]) == datetime(2027, 7, 14, 10, tzinfo=UTC)


@pytest.mark.parametrize(
    "written",
    ["2027-07-14T11:00", "2027-07-14 11:00:00", "2027-07-14", f"{SPRING}T01:30", f"{AUTUMN}T01:30"],
    ids=["naive", "with a blank", "a day alone", "in the gap", "in the overlap"],
)
def test_a_time_without_an_offset_names_no_moment(written: str, cast: Cast, api: Api) -> None:
    answer = api.of(cast.desk).post(f"/stations/{cast.tarrow.slug}/bookings/", a_party(starts_at=written))

    assert answer.status == 422
    assert "offset" in answer.blamed["/starts_at"]


@pytest.mark.parametrize(
    "written", ["half past ten", "", None, 1700000000, "2027-02-30T10:00Z", "2027-07-14T25:00Z", "10:00Z"]
)
def test_what_is_no_time_is_said_beside_it(written: object, cast: Cast, api: Api) -> None:
    answer = api.of(cast.desk).post(f"/stations/{cast.tarrow.slug}/bookings/", a_party(starts_at=written))

    assert (answer.status, list(answer.blamed)) == (422, ["/starts_at"])


@pytest.mark.parametrize("written", ["0001-01-01T00:00Z", "1999-12-31T23:59Z", "9999-12-31T23:59-12:00"])
def test_the_ends_of_the_calendar_are_refused(written: str, cast: Cast, api: Api) -> None:
    answer = api.of(cast.desk).post(f"/stations/{cast.tarrow.slug}/bookings/", a_party(ends_at=written))

    assert answer.blamed["/ends_at"] == "Enter a time between 2000-01-01 and 2100-01-01."


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31"])
def test_a_day_at_the_ends_of_the_calendar_is_refused(day: str, cast: Cast, api: Api) -> None:
    answer = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/today/", day=day)

    assert (answer.status, list(answer.blamed)) == (400, ["day"])


@pytest.mark.parametrize(("day", "hours"), [(SPRING, 23), ("2027-07-14", 24), (AUTUMN, 25)])
def test_a_day_is_as_long_as_its_clock_makes_it(day: str, hours: int, cast: Cast, api: Api) -> None:
    wind = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/weather/", day=day).said

    start, end = (datetime.fromisoformat(wind[name]) for name in ("starts_at", "ends_at"))
    assert (end - start).total_seconds() == hours * 3600


def test_an_hour_that_the_clocks_show_twice_is_told_apart_by_its_offset(
    cast: Cast, api: Api, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(clock, "now", lambda: datetime.fromisoformat(f"{AUTUMN}T00:05+01:00"))
    twice = a_wind(starts_at=f"{AUTUMN}T01:30+01:00", ends_at=f"{AUTUMN}T01:30+00:00")
    place = f"/stations/{cast.tarrow.slug}/weather/"
    instructor = api.of(cast.instructor)

    assert instructor.post(f"{place}hand/", twice).status == 201

    (hour,) = instructor.get(place, day=AUTUMN).said["hours"]
    assert (hour["starts_at"], hour["ends_at"]) == (f"{AUTUMN}T01:30:00+01:00", f"{AUTUMN}T01:30:00Z")
