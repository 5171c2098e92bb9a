"""Lists: pages that shift nothing, filters, and a number of queries that does not grow with the rows."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from rentals.afloat.models import LaunchCheck
from rentals.bookings.models import Booking, Outing, Party
from rentals.fleet.models import Item
from rentals.people.models import Rider
from tests.api.client import Answer, Api
from tests.cast import Cast

MOST_QUERIES = 12


def beds(cast: Cast, count: int) -> list[Rider]:
    """Return riders of one name, told apart by their number only."""
    return [cast.rider("Rush Meadow") for _ in range(count)]


class TestPages:
    """A list in pages."""

    def test_each_row_comes_once_however_many_share_a_name(self, cast: Cast, api: Api) -> None:
        known = {rider.pk for rider in beds(cast, 7)}
        desk, seen = api.of(cast.desk), []

        answer = desk.get(f"/stations/{cast.tarrow.slug}/riders/", limit=3)
        seen += [row["id"] for row in answer.said["results"]]
        while answer.said["next"]:
            answer = desk.get(answer.said["next"])
            seen += [row["id"] for row in answer.said["results"]]

        assert len(seen) == len(known)
        assert set(seen) == known

    def test_link_header_names_the_next_page_and_the_last_has_none(self, cast: Cast, api: Api) -> None:
        """RFC 8288, section 3."""
        beds(cast, 4)
        desk = api.of(cast.desk)

        first = desk.get(f"/stations/{cast.tarrow.slug}/riders/", limit=2)
        last = desk.get(first.said["next"])

        assert first.headers["Link"] == f'<{first.said["next"]}>; rel="next"'
        assert "Link" not in last.headers
        assert last.said["next"] is None

    def test_a_row_that_comes_in_before_shifts_nothing(self, cast: Cast, api: Api) -> None:
        for name in ("Birch", "Cedar", "Elder", "Furze"):
            cast.rider(name)
        desk = api.of(cast.desk)
        first = desk.get(f"/stations/{cast.tarrow.slug}/riders/", limit=2)

        cast.rider("Alder")

        rest = desk.get(first.said["next"]).said["results"]
        assert [row["name"] for row in rest] == ["Elder", "Furze"]

    def test_newest_bookings_come_first_in_every_page(self, cast: Cast, api: Api) -> None:
        booked = [cast.booked(cast.rider(f"Rush {n}"))[0].booking_id for n in range(3)]
        Booking.objects.filter(pk=booked[2]).update(booked_at=cast.now - timedelta(days=1))
        desk, seen = api.of(cast.desk), []

        answer = desk.get(f"/stations/{cast.tarrow.slug}/bookings/", limit=1)
        while answer.said["next"]:
            seen += answer.said["results"]
            answer = desk.get(answer.said["next"])
        seen += answer.said["results"]

        assert [row["id"] for row in seen] == [booked[1], booked[0], booked[2]]

    @pytest.mark.parametrize("cursor", ["x", "eyJhIjoxfQ:1:abc", "\0"])
    def test_a_made_up_cursor_is_refused(self, cursor: str, cast: Cast, api: Api) -> None:
        answer = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/riders/", cursor=cursor)

        assert (answer.status, list(answer.blamed)) == (400, ["cursor"])

    def test_a_cursor_of_another_list_is_refused(self, cast: Cast, api: Api) -> None:
        beds(cast, 2)
        desk = api.of(cast.desk)
        following = desk.get(f"/stations/{cast.tarrow.slug}/riders/", limit=1).said["next"]

        assert desk.get(following.replace("/riders/", "/items/")).status == 400

    @pytest.mark.parametrize("limit", ["0", "-1", "201", "many"])
    def test_a_limit_out_of_range_is_refused(self, limit: str, cast: Cast, api: Api) -> None:
        answer = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/riders/", limit=limit)

        assert (answer.status, list(answer.blamed)) == (400, ["limit"])


class TestFilters:
    """Asking for some rows only."""

    @pytest.mark.parametrize(
        ("query", "found"),
        [({}, 3), ({"q": "wren"}, 1), ({"q": "alder"}, 2), ({"q": "alder fern"}, 1), ({"q": "%"}, 0)],
    )
    def test_riders_by_words_of_their_name(
        self, query: dict[str, str], found: int, cast: Cast, api: Api
    ) -> None:
        assert [cast.wren, cast.moss, cast.fern]

        answer = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/riders/", **query)

        assert len(answer.said["results"]) == found

    @pytest.mark.parametrize(
        ("query", "found"),
        [
            ({}, ["Wren Alder", "Moss Hazel"]),
            ({"day": "2027-07-14"}, ["Wren Alder", "Moss Hazel"]),
            ({"day": "2027-07-15"}, []),
            ({"state": "kitted"}, ["Wren Alder"]),
            ({"state": "afloat"}, []),
            ({"kind": "rental"}, ["Wren Alder", "Moss Hazel"]),
            ({"kind": "lesson"}, []),
        ],
    )
    def test_outings_by_day_state_and_kind(
        self, query: dict[str, str], found: list[str], cast: Cast, api: Api
    ) -> None:
        cast.kitted(cast.wren)
        cast.booked(cast.moss, hour=12)

        answer = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/outings/", **query)

        assert [row["rider"]["name"] for row in answer.said["results"]] == found

    @pytest.mark.parametrize(
        ("query", "found"),
        [
            ({"kind": "sail"}, ["S1", "S2", "S3"]),
            ({"state": "on_bench"}, ["S1"]),
            ({"kind": "boom", "state": "on_bench"}, []),
            ({"tag": "s2"}, ["S2"]),
        ],
    )
    def test_items_by_kind_state_and_tag(
        self, query: dict[str, str], found: list[str], cast: Cast, api: Api
    ) -> None:
        cast.faulty("S1")

        answer = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/items/", **query)

        assert [row["tag"] for row in answer.said["results"]] == found

    @pytest.mark.parametrize(("query", "found"), [({}, ["S2", "S1"]), ({"state": "mended"}, ["S1"])])
    def test_jobs_by_state(self, query: dict[str, str], found: list[str], cast: Cast, api: Api) -> None:
        first, second = cast.faulty("S2"), cast.mended("S1")
        assert first.pk < second.pk

        answer = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/jobs/", **query)

        assert [row["item"]["tag"] for row in answer.said["results"]] == found

    @pytest.mark.parametrize(
        "query",
        [{"state": "sunk"}, {"kind": "swim"}, {"day": "14.7.2027"}, {"q": "x"}, {"day": "2027-13-01"}],
    )
    def test_what_is_no_filter_is_refused(self, query: dict[str, str], cast: Cast, api: Api) -> None:
        answer = api.of(cast.desk).get(f"/stations/{cast.tarrow.slug}/outings/", **query)

        assert (answer.status, answer.blamed.keys()) == (400, query.keys())


def more_riders(cast: Cast) -> None:
    """Add riders."""
    beds(cast, 6)


def more_outings(cast: Cast) -> None:
    """Add outings, half of them afloat and overdue, around the services: only their number matters here."""
    start = cast.now - timedelta(hours=2)
    for rider in beds(cast, 6):
        party = Party.objects.create(station=cast.tarrow, contact_name="Rush", contact_phone="0700")
        booking = Booking.objects.create(party=party, kind="rental", booked_at=cast.now)
        outing = Outing.objects.create(
            station=cast.tarrow,
            booking=booking,
            rider=rider,
            starts_at=start,
            ends_at=start + timedelta(hours=1),
        )
        LaunchCheck.objects.create(
            outing=outing, kit_no=0, at=start, by=cast.manager, passed=True, points=[], gates=[]
        )
        for state in ("kitted", "cleared", "afloat")[: 3 * (rider.pk % 2)]:
            Outing.objects.filter(pk=outing.pk).update(state=state, launched_at=start)


def more_items(cast: Cast) -> None:
    """Add sails."""
    model, number = cast.shed["S1"].model, Item.objects.count()
    Item.objects.bulk_create(
        Item(station=cast.tarrow, model=model, tag=f"Z{number + each}") for each in range(6)
    )


def more_jobs(cast: Cast) -> None:
    """Add faults."""
    for _ in range(3):
        cast.faulty("S1")
        cast.faulty("S3")


def nothing_more(cast: Cast) -> None:
    """Add nothing: what is asked for is one thing."""


def outing_at(rest: str) -> Callable[[Cast], str]:
    """An address under an outing with its kit."""
    return lambda cast: f"/outings/{Outing.objects.order_by('pk')[0].pk}/{rest}"


def tarrow(rest: str) -> Callable[[Cast], str]:
    """An address under Tarrow Lagoon."""
    return lambda cast: f"/stations/{cast.tarrow.slug}/{rest}"


# Each asks three queries of the token (token, expired ones, roles) and, where it names a station, one for it.
BUDGETS = [
    ("stations", lambda _: "/stations/", nothing_more, 4),
    ("station", tarrow(""), nothing_more, 4),
    ("today", tarrow("today/"), more_outings, 12),
    ("riders", tarrow("riders/"), more_riders, 5),
    ("bookings", tarrow("bookings/"), more_outings, 5),
    ("outings", tarrow("outings/"), more_outings, 5),
    ("items", tarrow("items/"), more_items, 5),
    ("jobs", tarrow("jobs/"), more_jobs, 5),
    ("weather", tarrow("weather/"), nothing_more, 6),
    ("beach", tarrow("beach/"), more_outings, 7),
    ("sources", tarrow("weather/sources/"), nothing_more, 5),
    ("outing", outing_at(""), more_outings, 6),
    ("offers", outing_at("offers/"), more_items, 8),
    ("card", outing_at("card/"), nothing_more, 5),
    ("launch sheet", outing_at("launch-sheet/"), more_outings, 11),
    ("item", lambda cast: f"/items/{cast.shed['S1'].pk}/", more_jobs, 11),
]


@pytest.mark.parametrize(
    ("place", "grow", "queries"), [pytest.param(*rest, id=name) for name, *rest in BUDGETS]
)
def test_a_reading_asks_as_many_queries_however_many_rows(
    place: Callable[[Cast], str], grow: Callable[[Cast], None], queries: int, cast: Cast, api: Api
) -> None:
    cast.kitted()
    grow(cast)
    desk = api.of(cast.desk)

    few = _counted(desk, place(cast))
    grow(cast)
    many = _counted(desk, place(cast))

    assert few == many == queries <= MOST_QUERIES


def _counted(desk: Api, place: str) -> int:
    with CaptureQueriesContext(connection) as asked:
        answer: Answer = desk.get(place)
    assert answer.status == 200, answer.said
    return len(asked)
