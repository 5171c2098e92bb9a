"""What each page for people at home asks of the database, and no more when there is more to show."""

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from rentals.home.models import Guest
from tests.rentals.home.house import ADA, PUPIL, House, place
from tests.rentals.lessons.school import School
from tests.rentals.takings.shop import PriceList
from tests.rentals.walk import DAY, HOUR


def asked(client: Client, url: str) -> list[str]:
    """The table that each query of a page is about, savepoints left out."""
    with CaptureQueriesContext(connection) as queries:
        assert client.get(url).status_code == 200
    told = (re.search(r'(?:FROM|INTO|UPDATE) "(\w+)"', query["sql"]) for query in queries)
    return [table[1] for table in told if table]


@dataclass(frozen=True)
class Page:
    """A page of a house, and the tables that it asks, in order."""

    name: str
    of: Callable[[House], str]
    asks: str

    def __str__(self) -> str:
        return self.name


def front(house: House) -> str:
    return place(house, "front")


def times(house: House) -> str:
    look = f"day={house.cast.now:%Y-%m-%d}&half=afternoon&hours=2&r0-mass_kg=72&r0-level=advanced"
    return f"{front(house)}?{look}"


def form(house: House) -> str:
    return f"{place(house, 'front-book')}?day={house.cast.now:%Y-%m-%d}&starts_at=14:00&hours=2&r0-mass_kg=72"


def lessons(house: House) -> str:
    school = School(house.cast)
    for number, hour in enumerate((12, 14, 16)):
        lesson = school.lesson(hours=(hour,), name=f"Course {number}")
        house.take(lesson, replace(PUPIL, name=f"Rider {number}"))
    return place(house, "front-lessons")


def lesson(house: House) -> str:
    return place(house, "front-lesson", School(house.cast).lesson(days=3, sold_whole=True).pk)


def link(house: House, guest: Guest, rest: str = "") -> str:
    return place(house, "visit", house.token(guest)) + rest


def party(house: House) -> Guest:
    start = house.cast.at(14) + DAY
    return house.book(ADA, starts_at=start, ends_at=start + 2 * HOUR)


def pupils(house: House) -> Guest:
    riders = [replace(PUPIL, name=f"Rider {number}") for number in range(3)]
    return house.take(School(house.cast).lesson(days=3, sold_whole=True), *riders)


def change(house: House) -> str:
    guest = house.take(School(house.cast).lesson(), PUPIL)
    lessons(house)
    return link(house, guest, "move/")


def rider(house: House) -> str:
    guest = party(house)
    return link(house, guest, f"riders/{guest.riders.get().pk}/")


MONEY = "takings_terms takings_price takings_taxrate"
ACCOUNT = f"{MONEY} takings_charge takings_ledgerentry takings_passuse takings_pass"
COST = (
    "bookings_outing takings_terms takings_terms takings_price takings_taxrate takings_cancelrule "
    "takings_charge takings_passuse takings_pass takings_cancelrule"
)
LINK = "home_front home_link"
PROMISE = (
    "bookings_outing bookings_outing bookings_outing fleet_item fleet_hold fleet_rig weather_hour "
    "stations_windlimit dayplan_crew"
)
"""A look at the day for one time: once to know whether it changed, once to mark it, and its rows."""

PAGES = [
    Page("front", front, "home_front"),
    Page("times", times, f"home_front {'home_tally ' * 3}{MONEY} {' '.join([PROMISE] * 6)}"),
    Page("form", form, f"home_front {MONEY}"),
    Page("lessons", lessons, f"home_front lessons_lesson lessons_lesson {MONEY}"),
    Page("lesson", lesson, f"home_front lessons_lesson lessons_lesson {MONEY}"),
    Page(
        "a rental",
        lambda house: link(house, party(house)),
        f"{LINK} bookings_outing people_rider {ACCOUNT} {COST}",
    ),
    Page(
        "a course",
        lambda house: link(house, pupils(house)),
        f"{LINK} bookings_outing people_rider lessons_seat {ACCOUNT} {COST}",
    ),
    Page("who waits", lambda house: link(house, house.queue()), f"{LINK} bookings_outing people_rider"),
    Page("another time", lambda house: link(house, party(house), "move/"), LINK),
    Page("another lesson", change, f"{LINK} lessons_lesson lessons_lesson {MONEY}"),
    Page("a rider", rider, f"{LINK} people_rider"),
]


@pytest.mark.parametrize("page", PAGES, ids=str)
def test_a_page_asks_no_more_than_it_must(house: House, client: Client, page: Page) -> None:
    PriceList(house.cast)
    at = page.of(house)

    assert " ".join(asked(client, at)) == page.asks


def test_times_looked_at_again_are_not_solved_again(house: House, client: Client) -> None:
    """Once for each time it is asked whether the day has changed."""
    PriceList(house.cast)
    at = times(house)
    client.get(at)

    again = asked(client, at)

    assert again == ["home_front", *["home_tally"] * 3, *MONEY.split(), *["bookings_outing"] * 6]


def test_more_lessons_and_more_seats_taken_ask_no_more(house: House, client: Client) -> None:
    PriceList(house.cast)
    at = lessons(house)
    few = len(asked(client, at))

    lessons(house)

    assert len(asked(client, at)) == few
