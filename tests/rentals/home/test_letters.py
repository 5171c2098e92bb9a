"""Letters to riders: in their language, each event's once, with a calendar that another program reads."""

from dataclasses import replace
from datetime import timedelta
from email import policy
from email.parser import Parser

import icalendar
import pytest

from rentals.bookings import services as bookings
from rentals.home import services
from rentals.home.models import Guest, Link
from rentals.lib.access import Act
from rentals.lib.secret import digest
from rentals.lib.writes import write
from rentals.mail.models import Letter
from tests.rentals.home.house import ADA, HOME, TELL, House
from tests.rentals.walk import DAY, HOUR


def sweep(house: House, name: str, after: timedelta = timedelta(0)) -> int:
    count: int = getattr(services, name)(actor=TELL, now=house.cast.now + after)
    return count


class TestTheConfirmation:
    def test_it_says_when_where_and_who(self, house: House) -> None:
        (letter,) = house.letters(house.book())

        assert letter.to == "ada@brill.invalid"
        assert letter.subject == "You are booked at Tarrow Lagoon"
        assert "Wed 14 Jul 2027, 14:00–16:00, Tarrow Lagoon" in letter.body
        assert "Ada Brill" in letter.body

    @pytest.mark.parametrize(
        ("language", "subject", "day"),
        [
            ("de", "Sie sind in Tarrow Lagoon angemeldet", "Mi"),
            ("es", "Tiene una reserva en Tarrow Lagoon", "mié"),
            ("fr", "Votre réservation à Tarrow Lagoon", "mer"),
        ],
    )
    def test_it_speaks_the_riders_language(self, house: House, language: str, subject: str, day: str) -> None:
        (letter,) = house.letters(house.book(language=language))

        assert letter.subject == subject
        assert day.casefold() in letter.body.casefold()

    def test_its_link_opens_the_booking_and_stands_nowhere_else(self, house: House) -> None:
        guest = house.book()
        (letter,) = house.letters(guest)

        token = letter.body.partition("/b/")[2].partition("/")[0]

        assert Link.objects.get(digest=digest(token)).guest_id == guest.pk

    def test_what_is_still_to_do_stands_beside_the_rider(self, house: House) -> None:
        (letter,) = house.letters(house.book(replace(ADA, waiver=False)))

        assert "sign the waiver at the desk" in letter.body

    def test_the_calendar_names_the_moment_in_utc(self, house: House) -> None:
        """Parsed by `icalendar`; 14:00 in Lisbon in July is 13:00 UTC."""
        (letter,) = house.letters(house.book())

        (event,) = icalendar.Calendar.from_ical(letter.calendar).walk("VEVENT")

        assert event.decoded("dtstart") == house.cast.at(14)
        assert event["dtstart"].to_ical() == b"20270714T130000Z"
        assert event["sequence"] == 0

    def test_a_change_replaces_it_in_the_calendar(self, house: House) -> None:
        """RFC 5546, 3.2.1: the same UID with a higher SEQUENCE."""
        guest = house.book()
        services.move_from_home(
            actor=HOME,
            front=house.front,
            guest=guest,
            starts_at=house.cast.at(16),
            ends_at=house.cast.at(18),
            now=house.cast.now,
        )
        services.leave(actor=HOME, guest_id=guest.pk, now=house.cast.now)

        events = [
            icalendar.Calendar.from_ical(letter.calendar).walk("VEVENT")[0] for letter in house.letters(guest)
        ]

        assert len({event["uid"] for event in events}) == 1
        assert [event["sequence"] for event in events] == [0, 1, 2]
        assert [event["status"] for event in events] == ["CONFIRMED", "CONFIRMED", "CANCELLED"]


class TestPartiesOfTheDesk:
    def book(self, house: House) -> int:
        contact = bookings.Contact(name="Wren Alder", email="wren@alder.invalid")
        return house.cast.book(contact=contact).pk

    def test_one_with_an_address_is_confirmed_to_once(self, house: House) -> None:
        booking = self.book(house)

        assert [sweep(house, "welcome_desk") for _look in range(2)] == [1, 0]

        guest = Guest.objects.get(booking=booking)
        assert house.kinds(guest) == ["confirmed"]
        assert not guest.from_home

    def test_one_without_is_left_alone(self, house: House) -> None:
        house.cast.book()

        assert sweep(house, "welcome_desk") == 0
        assert not Letter.objects.exists()


class TestChangesByTheStation:
    def test_a_party_that_the_station_moved_is_told_once(self, house: House) -> None:
        guest = house.book()
        self.move(house, guest)

        assert [sweep(house, "tell_changes") for _look in range(2)] == [1, 0]

        assert house.kinds(guest) == ["confirmed", "changed"]
        assert "16:00–18:00" in house.letters(guest)[-1].body

    def test_a_party_that_the_station_cancelled_is_told_once(self, house: House) -> None:
        guest = house.book()
        house.cancel(house.outings(guest)[0])

        assert [sweep(house, "tell_changes") for _look in range(2)] == [1, 0]

        assert house.kinds(guest) == ["confirmed", "cancelled"]

    def move(self, house: House, guest: Guest) -> None:
        @write
        def happen() -> None:
            house.cast.boss.require(Act.BOOK, station_id=house.cast.tarrow.pk)
            bookings.retime(
                actor=house.cast.boss,
                act=Act.BOOK,
                outings=house.outings(guest),
                starts_at=house.cast.at(16),
                ends_at=house.cast.at(18),
                why="wind",
                now=house.cast.now,
            )

        happen()


class TestTheWind:
    def test_a_forecast_that_moved_by_a_sail_size_is_told_once_a_day(self, house: House) -> None:
        guest = house.book()
        house.cast.blow(mean_ms=15.0, gust_ms=18.0)

        assert [sweep(house, "tell_wind") for _look in range(2)] == [1, 0]
        assert house.kinds(guest) == ["confirmed", "wind"]

    def test_a_forecast_that_scatters_is_not(self, house: House) -> None:
        house.book()
        house.cast.blow(mean_ms=12.0, gust_ms=14.0)

        assert sweep(house, "tell_wind") == 0


class TestReminderAndThanks:
    def test_a_day_before_a_party_is_reminded_once(self, house: House) -> None:
        start = house.cast.at(14) + 2 * DAY
        guest = house.book(starts_at=start, ends_at=start + 2 * HOUR)

        assert sweep(house, "remind", after=DAY) == 0
        assert [sweep(house, "remind", after=DAY + 5 * HOUR) for _look in range(2)] == [1, 0]

        assert house.kinds(guest) == ["confirmed", "reminder"]

    def test_who_booked_just_now_needs_no_reminder(self, house: House) -> None:
        house.book()

        assert sweep(house, "remind") == 0

    def test_who_was_on_the_water_is_thanked_once_when_all_are_back(self, house: House) -> None:
        guest = house.joined(house.cast.returned())

        soon, later = house.cast.at(13, 30), house.cast.at(15)
        assert [services.thank(actor=TELL, now=at) for at in (soon, later, later)] == [0, 1, 0]
        assert house.kinds(guest) == ["thanks"]

    def test_who_began_a_course_days_ago_is_thanked_when_it_is_over(self, house: House) -> None:
        guest = house.joined(house.cast.returned())
        first = guest.starts_at - 6 * DAY
        Guest.objects.filter(pk=guest.pk).update(starts_at=first, ends_at=first + 2 * HOUR)

        assert [services.thank(actor=TELL, now=house.cast.at(15)) for _look in range(2)] == [1, 0]


def test_a_letter_reads_like_one(house: House) -> None:
    """No markup, no empty subject, no entity of HTML in a plain text."""
    guest = house.book()
    for letter in house.letters(guest):
        message = Parser(policy=policy.default).parsestr(f"Subject: {letter.subject}\n\n{letter.body}")
        assert message["Subject"]
        assert "&#" not in letter.body
        assert "&amp;" not in letter.body
        assert "{%" not in letter.body
        assert "\n\n\n" not in letter.body
