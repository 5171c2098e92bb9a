"""Cancelling by the link: what it costs stands beside the button, and no more than that is charged unseen.

Two hours of the full kit from two o'clock: 50.00; the rule is half the price from six hours before.
"""

from datetime import datetime

import pytest
from django.test import Client

from rentals.home import services
from rentals.home.models import Guest
from rentals.lib import clock
from rentals.takings import services as takings
from rentals.takings.models import Charge
from tests.rentals.home.house import HOME, House, place
from tests.rentals.takings.shop import PriceList, eur


@pytest.fixture
def guest(house: House, monkeypatch: pytest.MonkeyPatch) -> Guest:
    """Ada, booked from home at ten under the rule."""
    monkeypatch.setattr(clock, "now", lambda: house.cast.now)
    rule(house, free_hours=6)
    return house.book()


def rule(house: House, *, free_hours: int) -> None:
    PriceList(house.cast)
    takings.set_cancel_rule(
        actor=house.cast.boss,
        station_id=house.cast.tarrow.pk,
        free_hours=free_hours,
        share_pct=50,
        missed_pct=100,
        now=house.cast.now,
    )


def test_the_fee_stands_beside_the_button_and_is_charged(house: House, guest: Guest, client: Client) -> None:
    link = place(house, "visit", token := house.token(guest))
    said = client.get(link).content.decode()
    assert "Cancelling costs EUR\u00a025.00 now." in said
    assert '<input type="hidden" name="told" value="2500">' in said

    client.post(place(house, "visit-leave", token), {"told": "2500"})

    (charge,) = Charge.objects.all()
    assert (charge.purpose, charge.gross) == ("cancel", eur("25"))
    assert charge.party_id == guest.booking.party_id


def test_a_fee_that_was_not_told_is_told_first(house: House, guest: Guest, client: Client) -> None:
    token = house.token(guest)

    answer = client.post(place(house, "visit-leave", token), {"told": "0"})

    assert answer.status_code == 409
    assert "Cancelling costs EUR 25.00 by now." in answer.content.decode()
    assert Guest.objects.get(pk=guest.pk).state == "booked"
    assert not Charge.objects.exists()


def test_in_time_it_says_until_when_it_is_free(
    house: House, monkeypatch: pytest.MonkeyPatch, client: Client
) -> None:
    monkeypatch.setattr(clock, "now", lambda: house.cast.now)
    rule(house, free_hours=2)
    token = house.token(house.book())

    said = client.get(place(house, "visit", token)).content.decode()
    client.post(place(house, "visit-leave", token), {"told": "0"})

    assert "Cancelling is free until Wed 14 Jul, 12:00" in said
    assert not Charge.objects.exists()


def test_where_there_are_no_prices_nothing_is_said_or_charged(
    house: House, monkeypatch: pytest.MonkeyPatch, client: Client
) -> None:
    monkeypatch.setattr(clock, "now", lambda: house.cast.now)
    token = house.token(house.book())

    assert "Cancelling" not in client.get(place(house, "visit", token)).content.decode()
    client.post(place(house, "visit-leave", token))

    assert Guest.objects.get().state == "left"


def test_who_waits_leaves_for_nothing(house: House, now: datetime) -> None:
    house.fill(14)
    rule(house, free_hours=6)
    waiting = house.queue()

    services.leave(actor=HOME, guest_id=waiting.pk, now=now)

    assert not Charge.objects.exists()
