"""The waiting list: in order of coming, a place held for a set time, then the next one's turn."""

from datetime import timedelta

import pytest

from rentals.bookings.models import Outing
from rentals.home import services
from rentals.home.models import Guest
from rentals.home.states import GuestState
from tests.rentals.home.house import HOME, TELL, House
from tests.rentals.walk import MINUTE


def offer(house: House, after: timedelta = timedelta(0)) -> int:
    return services.offer_places(actor=TELL, now=house.cast.now + after)


def pass_over(house: House, after: timedelta) -> int:
    return services.pass_over(actor=TELL, now=house.cast.now + after)


def take(house: House, guest: Guest, after: timedelta = timedelta(0)) -> Guest:
    return services.take_offer(actor=HOME, guest_id=guest.pk, now=house.cast.now + after)


@pytest.fixture
def full(house: House) -> House:
    """Two o'clock is taken."""
    house.fill(14)
    return house


def free_one(house: House) -> None:
    """One of the desk's riders does not come."""
    house.cancel(Outing.objects.filter(booking__booked_by__isnull=False, state="booked").earliest("id"))


def test_nothing_is_offered_while_nothing_is_free(full: House) -> None:
    guest = full.queue()

    assert offer(full) == 0
    assert full.again(guest).state == GuestState.WAITING
    assert full.kinds(guest) == ["queued"]


def test_a_place_that_comes_free_is_held_for_the_first_who_came(full: House) -> None:
    first, second = full.queue(), full.queue()
    offer(full)
    free_one(full)

    assert offer(full) == 1

    first, second = full.again(first), full.again(second)
    assert (first.state, second.state) == (GuestState.OFFERED, GuestState.WAITING)
    assert first.offer_until == full.cast.now + 30 * MINUTE
    assert [outing.state for outing in full.outings(first)] == ["booked"]
    assert full.kinds(first) == ["queued", "offered"]


def test_who_takes_it_in_time_is_booked(full: House) -> None:
    guest = full.queue()
    free_one(full)
    offer(full)

    take(full, guest, 29 * MINUTE)

    assert full.again(guest).state == GuestState.BOOKED
    assert full.kinds(guest) == ["queued", "offered", "confirmed"]


def test_after_its_time_it_cannot_be_taken(full: House) -> None:
    guest = full.queue()
    free_one(full)
    offer(full)

    with pytest.raises(services.UnableToMoveGuest, match="offer is over"):
        take(full, guest, 30 * MINUTE)


def test_a_place_not_taken_goes_to_the_next(full: House) -> None:
    first, second = full.queue(), full.queue()
    free_one(full)
    offer(full)

    assert pass_over(full, 29 * MINUTE) == 0
    assert pass_over(full, 30 * MINUTE) == 1
    assert offer(full, 31 * MINUTE) == 1

    assert full.again(first).state == GuestState.LAPSED
    assert [outing.state for outing in full.outings(first)] == ["cancelled"]
    assert full.kinds(first) == ["queued", "offered", "lapsed"]
    assert full.again(second).state == GuestState.OFFERED


def test_taking_twice_changes_nothing(full: House) -> None:
    guest = full.queue()
    free_one(full)
    offer(full)

    for _tap in range(2):
        take(full, guest)

    assert full.kinds(guest) == ["queued", "offered", "confirmed"]


def test_who_leaves_the_list_is_not_offered_anything(full: House) -> None:
    guest = full.queue()
    services.leave(actor=HOME, guest_id=guest.pk, now=full.cast.now)
    free_one(full)

    assert offer(full) == 0
    assert full.kinds(guest) == ["queued", "cancelled"]


def test_waiting_ends_when_its_time_has_come(full: House) -> None:
    guest = full.queue()

    assert pass_over(full, timedelta(hours=4)) == 1
    assert full.again(guest).state == GuestState.LAPSED


def test_a_day_that_did_not_change_is_not_looked_at_again(
    full: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    full.queue()
    offer(full)
    monkeypatch.setattr("rentals.home.queries.see", lambda *_args, **_more: pytest.fail("solved again"))

    assert offer(full) == 0
