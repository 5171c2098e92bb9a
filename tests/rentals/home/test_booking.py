"""Booking from home: never against the promise, once for each form, signed, and told by mail."""

from dataclasses import replace
from datetime import date, timedelta
from uuid import uuid4

import pytest

from rentals.bookings.models import Outing
from rentals.bookings.services import UnableToBook
from rentals.home import services
from rentals.home.models import Guest, Signature
from rentals.home.states import GuestState
from rentals.mail.models import Letter
from rentals.people.models import Rider
from tests.rentals.home.house import ADA, HOME, House


class TestBooking:
    def test_a_party_that_can_be_served_has_its_outing(self, house: House) -> None:
        guest = house.book()

        (outing,) = house.outings(guest)
        assert (outing.state, outing.starts_at, outing.ends_at) == (
            "booked",
            house.cast.at(14),
            house.cast.at(16),
        )
        assert outing.rider.name == "Ada Brill"
        assert house.again(guest).state == GuestState.BOOKED

    def test_a_no_of_the_promise_is_not_overridden(self, house: House) -> None:
        """A first-timer in 24 knots: no sail of any shed is safe. Common practice, no source."""
        house.cast.blow(mean_ms=16.0, gust_ms=20.0)

        with pytest.raises(services.UnableToPromise, match="ask us"):
            house.book(replace(ADA, level="taster"))

        assert not Outing.objects.exists()
        assert not Rider.objects.exists()

    def test_before_a_forecast_reaches_the_day_the_shed_is_looked_at_in_usual_winds(
        self, house: House
    ) -> None:
        start = house.cast.at(14) + timedelta(days=5)

        guest = house.book(starts_at=start, ends_at=start + timedelta(hours=2))

        assert house.outings(guest)[0].starts_at == start

    def test_the_journal_says_that_it_came_from_home(self, house: House) -> None:
        (outing,) = house.outings(house.book())

        assert house.cast.told("outing", outing.pk) == ["Booked Ada Brill for 14:00–16:00"]

    def test_the_same_form_again_books_once(self, house: House) -> None:
        key = uuid4()

        first, again = house.book(once=key), house.book(once=key)

        assert first.pk == again.pk
        assert (Guest.objects.count(), Outing.objects.count(), Letter.objects.count()) == (1, 1, 1)

    def test_the_same_form_with_other_values_is_refused(self, house: House) -> None:
        key = uuid4()
        house.book(once=key)

        with pytest.raises(services.UnableToRepeat, match="other values"):
            house.book(once=key, note="With my dog")

    def test_a_start_sooner_than_the_rule_is_refused_with_whom_to_call(self, house: House) -> None:
        with pytest.raises(UnableToBook, match="0700 888 000") as refused:
            house.book(now=house.cast.at(13, 30))

        assert list(refused.value.fields) == ["starts_at"]

    def test_a_day_further_ahead_than_the_rule_is_refused(self, house: House) -> None:
        late = house.cast.at(14) + timedelta(days=8)

        with pytest.raises(UnableToBook, match="next 7 days"):
            house.book(starts_at=late, ends_at=late + timedelta(hours=2))

    def test_what_is_wrong_with_a_rider_is_said_of_that_rider(self, house: House) -> None:
        with pytest.raises(UnableToBook) as refused:
            house.book(ADA, replace(ADA, born_on=date(2026, 1, 1)))

        assert list(refused.value.fields) == ["riders.1.born_on"]


class TestSigning:
    def test_an_adult_signs_the_waiver_and_the_notice_in_a_version(self, house: House) -> None:
        house.book()

        signed = Signature.objects.order_by("what").values_list("what", "version", "name", "signed_at")
        assert list(signed) == [
            ("privacy", "2026-1", "Ada Brill", house.cast.now),
            ("waiver", "2026-1", "Ada Brill", house.cast.now),
        ]

    def test_the_guardian_signs_for_a_minor(self, house: House) -> None:
        child = replace(
            ADA,
            name="Bo Brill",
            born_on=date(2014, 5, 5),
            mass_kg=ADA.mass_kg,
            guardian_name="Ada Brill",
            guardian_phone="0700 555 001",
            consent=True,
        )
        house.book(child)

        signed = Signature.objects.exclude(what="privacy").order_by("what").values_list("what", "name")
        assert list(signed) == [("guardian", "Ada Brill"), ("waiver", "Ada Brill")]

    def test_what_is_not_ticked_is_not_signed(self, house: House) -> None:
        house.book(replace(ADA, waiver=False))

        assert list(Signature.objects.values_list("what", flat=True)) == ["privacy"]
        assert Rider.objects.get().waiver_signed_at is None

    def test_house_rules_are_part_of_the_version(self, house: House) -> None:
        house.open(house_rules="No dogs on the pontoon.")
        house.book()

        version = Signature.objects.filter(what="waiver").get().version
        house.open(house_rules="No dogs at all.")
        assert version.startswith("2026-1+")
        assert version != services.version_of(house.front)


class TestMoving:
    def test_a_booking_moves_to_another_time(self, house: House) -> None:
        guest = house.book()

        self.move(house, guest, 16)

        (outing,) = house.outings(guest)
        assert (outing.starts_at, outing.state) == (house.cast.at(16), "booked")
        assert house.kinds(guest) == ["confirmed", "changed"]

    def test_its_own_rig_is_not_in_its_way(self, house: House) -> None:
        """The shed has one rig for her: half an hour later needs the very same."""
        guest = house.book()

        moved = self.move(house, guest, 15)

        assert house.again(moved).starts_at == house.cast.at(15)

    def test_it_stays_where_it_is_when_the_new_time_cannot_be_promised(self, house: House) -> None:
        guest = house.book()
        house.fill(17)

        with pytest.raises(services.UnableToPromise, match="Not each of you"):
            self.move(house, guest, 17)

        assert house.outings(guest)[0].starts_at == house.cast.at(14)

    def test_after_the_stations_rule_the_desk_must_be_called(self, house: House) -> None:
        guest = house.book()

        with pytest.raises(services.TooLate, match="0700 888 000"):
            self.move(house, guest, 16, at_hour=12, at_minute=1)
        assert self.move(house, guest, 16, at_hour=12).pk == guest.pk

    def move(self, house: House, guest: Guest, hour: int, *, at_hour: int = 10, at_minute: int = 0) -> Guest:
        return services.move_from_home(
            actor=HOME,
            front=house.front,
            guest=guest,
            starts_at=house.cast.at(hour),
            ends_at=house.cast.at(hour + 2),
            now=house.cast.at(at_hour, at_minute),
        )


class TestCancelling:
    def test_outings_are_called_off_and_the_party_is_told(self, house: House) -> None:
        guest = house.book()

        services.leave(actor=HOME, guest_id=guest.pk, now=house.cast.now)

        assert [outing.state for outing in house.outings(guest)] == ["cancelled"]
        assert house.again(guest).state == GuestState.LEFT
        assert house.kinds(guest) == ["confirmed", "cancelled"]

    def test_cancelling_twice_changes_nothing(self, house: House) -> None:
        guest = house.book()

        for _tap in range(2):
            services.leave(actor=HOME, guest_id=guest.pk, now=house.cast.now)

        assert house.kinds(guest) == ["confirmed", "cancelled"]

    def test_after_the_stations_rule_the_desk_must_be_called(self, house: House) -> None:
        guest = house.book()

        with pytest.raises(services.TooLate):
            services.leave(actor=HOME, guest_id=guest.pk, now=house.cast.at(12, 1))

        assert house.outings(guest)[0].state == "booked"
