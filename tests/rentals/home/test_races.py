"""Two at home at once: the last place goes to one, the other is told; one form twice books once."""

from datetime import datetime
from uuid import uuid4

import pytest
from django.core.cache import cache

from rentals.bookings.models import Outing
from rentals.home import queries, services
from rentals.home.models import Guest
from tests.rentals.home.house import House
from tests.rentals.test_races import at_once, meet_after, told_apart
from tests.rentals.walk import Walk

pytestmark = pytest.mark.both_engines


@pytest.fixture
def house(committing: None, now: datetime) -> House:
    """A station with an open page, on a database where writes commit."""
    cache.clear()
    made = House(Walk(now))
    made.open()
    return made


def test_the_last_place_goes_to_one_and_the_other_is_told(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both have seen the same promise before either books."""
    house.leave_one(14)
    meet_after(monkeypatch, queries, "see")

    answers = at_once(house.book, house.book)

    assert told_apart(answers) == {Guest: 1, services.UnableToPromise: 1}
    assert Guest.objects.count() == 1


def test_of_eight_at_once_no_more_are_booked_than_can_be_served(house: House) -> None:
    answers = at_once(*[house.book] * 8)

    told = told_apart(answers)
    assert told[Guest] >= 1
    assert told[Guest] + told[services.UnableToPromise] == 8
    assert Outing.objects.count() == told[Guest]
    seen = queries.see(house.cast.tarrow, house.asked().wish(), phone="", now=house.cast.now)
    assert not seen.holds


def test_one_form_sent_twice_at_once_books_once(house: House) -> None:
    key = uuid4()

    answers = at_once(*[lambda: house.book(once=key)] * 2)

    assert {guest.pk for guest in answers if isinstance(guest, Guest)} == {Guest.objects.get().pk}
    assert Outing.objects.count() == 1
