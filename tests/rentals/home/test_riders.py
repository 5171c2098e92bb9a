"""What a party changes about its riders by the secret link, until the day begins."""

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from rentals.audit.models import Entry
from rentals.home import services
from rentals.home.models import Guest, Signature
from rentals.home.services import TooLate, UnableToMoveGuest, UnableToPromise
from rentals.lib.problems import NotVisible
from rentals.people.models import Rider
from rentals.people.services import UnableToKeepRider
from rentals.weather.services import HandHour, enter_by_hand
from tests.rentals.browser import Form
from tests.rentals.home.house import ADA, HOME, House, place
from tests.rentals.walk import DAY, HOUR

CHILD = replace(
    ADA,
    name="Lo Brill",
    born_on=date(2012, 3, 4),
    guardian_name="Ada Brill",
    guardian_phone="0700 555 001",
    consent=True,
)


def booked(house: House, *riders: Any, **other: Any) -> Guest:
    """A party that comes tomorrow."""
    start = house.cast.at(14) + DAY
    return house.book(*riders, starts_at=start, ends_at=start + 2 * HOUR, **other)


def change(house: House, guest: Guest, after: timedelta = timedelta(0), **facts: Any) -> Rider:
    rider = guest.riders.order_by("id")[0]
    known = {
        name: getattr(rider, name) for name in ("name", "born_on", "mass_kg", "stature_cm", "level", "swims")
    }
    more = {name: getattr(rider, name) for name in ("phone", "guardian_name", "guardian_phone")}
    signed = {"waiver": rider.waiver_signed_at is not None, "consent": rider.guardian_consent_at is not None}
    return services.change_rider_from_home(
        actor=HOME,
        front=house.front,
        guest=guest,
        rider_id=rider.pk,
        facts=replace(ADA, **{**known, **more, **signed, **facts}),
        now=house.cast.now + after,
    )


def test_another_mass_is_kept_and_the_journal_says_so(house: House) -> None:
    rider = change(house, booked(house), mass_kg=Decimal("70.5"))

    assert Rider.objects.get(pk=rider.pk).mass_kg == Decimal("70.5")
    entry = Entry.objects.filter(subject_kind="rider", subject_id=rider.pk).latest("id")
    assert entry.data == {"mass_kg": ["72.0", "70.5"]}


def test_a_mass_for_which_no_rig_is_right_changes_nothing(house: House) -> None:
    """At 19 m/s the usual shed has nothing for her."""
    guest, cast = booked(house), house.cast
    storm = HandHour(
        starts_at=cast.at(8) + DAY, ends_at=cast.at(20) + DAY, mean_ms=19.0, gust_ms=24.0, from_deg=330.0
    )
    enter_by_hand(actor=cast.boss, station_id=cast.tarrow.pk, hour=storm, now=cast.now)

    with pytest.raises(UnableToPromise):
        change(house, guest, mass_kg=Decimal(60))

    assert guest.riders.get().mass_kg == Decimal("72.0")


def test_from_the_days_beginning_the_desk_is_to_be_called(house: House) -> None:
    """Midnight at the station; it is ten in the morning now."""
    guest = booked(house)

    change(house, guest, after=13 * HOUR, phone="0700 1")
    with pytest.raises(TooLate, match="0700 888 000"):
        change(house, guest, after=14 * HOUR, phone="0700 2")


def test_a_level_is_not_raised_without_an_instructors_word(house: House) -> None:
    with pytest.raises(UnableToKeepRider) as refused:
        change(house, booked(house), level="expert")

    assert set(refused.value.fields) == {"level"}


def test_a_minor_does_not_come_of_age_by_a_form(house: House) -> None:
    guest = booked(house, CHILD)

    change(house, guest, born_on=date(2012, 3, 5))
    with pytest.raises(UnableToKeepRider) as refused:
        change(house, guest, born_on=date(1992, 3, 4))

    assert set(refused.value.fields) == {"born_on"}


def test_a_waiver_signed_later_has_its_version_and_time(house: House) -> None:
    guest = booked(house, replace(ADA, waiver=False))
    assert not Signature.objects.filter(what="waiver").exists()

    change(house, guest, after=HOUR, waiver=True)

    signature = Signature.objects.get(what="waiver")
    assert (signature.name, signature.version) == ("Ada Brill", services.version_of(house.front))
    assert signature.signed_at == house.cast.now + HOUR


def test_nothing_is_signed_twice(house: House) -> None:
    guest = booked(house)

    change(house, guest, phone="0700 1")

    assert Signature.objects.filter(what="waiver").count() == 1


def test_a_rider_of_another_party_is_not_there(house: House) -> None:
    guest, other = booked(house), house.cast.rider("Wren Alder")

    with pytest.raises(NotVisible):
        services.change_rider_from_home(
            actor=HOME, front=house.front, guest=guest, rider_id=other.pk, facts=ADA, now=house.cast.now
        )


def test_who_cancelled_tells_nothing_any_more(house: House) -> None:
    guest = booked(house)
    services.leave(actor=HOME, guest_id=guest.pk, now=house.cast.now)

    with pytest.raises(UnableToMoveGuest):
        change(house, house.again(guest), phone="0700 1")


class TestThePage:
    def test_it_changes_what_was_told(self, house: House, client: Client) -> None:
        guest = booked(house)
        link = place(house, "visit", house.token(guest))
        rider = guest.riders.get()
        at = f"{link}riders/{rider.pk}/"
        assert at in client.get(link).content.decode()
        typed = {"born_on": "1991-04-02", "mass_kg": "70", "stature_cm": "176", "level": "advanced"}

        sent = client.post(at, {**typed, "swims": "on", "phone": "0700 9"})

        assert sent.status_code == 302
        rider.refresh_from_db()
        assert (rider.mass_kg, rider.phone, rider.name) == (Decimal(70), "0700 9", "Ada Brill")
        assert rider.waiver_signed_at is not None

    def test_what_cannot_be_is_said_beside_its_field_and_stays_typed(
        self, house: House, client: Client
    ) -> None:
        guest = booked(house)
        at = f"{place(house, 'visit', house.token(guest))}riders/{guest.riders.get().pk}/"
        typed = {"born_on": "1991-04-02", "mass_kg": "7", "stature_cm": "176", "level": "expert"}

        page = client.post(at, {**typed, "phone": "0700 9"})

        assert page.status_code == 422
        form = Form(page)
        assert form.said("mass_kg")
        assert form.value("phone") == "0700 9"

    def test_on_the_day_it_says_whom_to_call(self, house: House, client: Client) -> None:
        guest = house.book()
        link = place(house, "visit", house.token(guest))
        at = f"{link}riders/{guest.riders.get().pk}/"

        assert at not in client.get(link).content.decode()
        assert "Please call 0700 888 000" in client.get(at).content.decode()
