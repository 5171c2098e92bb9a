"""Lessons from home: open seats with prices, taken once each, changed and given back by the secret link."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import icalendar
import pytest
from django.test import Client

from rentals.bookings.services import UnableToBook
from rentals.home import queries, services
from rentals.home.models import Guest, Signature
from rentals.lessons.models import Lesson, Seat
from rentals.lessons.services import LessonFull, UnableToEnrol
from rentals.lib.problems import NotVisible
from tests.rentals.browser import Form
from tests.rentals.home.house import HOME, PUPIL, House, place
from tests.rentals.lessons.school import School
from tests.rentals.takings.shop import PriceList
from tests.rentals.walk import DAY, HOUR, MINUTE


@pytest.fixture
def school(house: House) -> School:
    """The school of the station with the open page."""
    return School(house.cast)


def take(house: House, lesson: Lesson, *riders: Any, **other: Any) -> Guest:
    return house.take(lesson, *(riders or (PUPIL,)), **other)


def change(house: House, guest: Guest, lesson: Lesson, after: timedelta = timedelta(0)) -> Guest:
    return services.change_lesson(
        actor=HOME, guest_id=guest.pk, lesson_id=lesson.pk, now=house.cast.now + after
    )


def lessons_of(guest: Guest) -> list[Lesson]:
    seats = Seat.objects.taken().filter(outing__booking=guest.booking_id).select_related("lesson")
    return [seat.lesson for seat in seats.order_by("lesson__starts_at", "number")]


class TestTakingSeats:
    def test_a_party_has_its_seats_its_letter_and_its_signatures(self, house: House, school: School) -> None:
        lesson = school.lesson()

        guest = take(house, lesson, PUPIL, replace(PUPIL, name="Bo Brill"))

        assert lessons_of(guest) == [lesson, lesson]
        assert house.kinds(guest) == ["confirmed"]
        assert Signature.objects.filter(rider__in=guest.riders.all(), what="waiver").count() == 2

    def test_a_course_sold_whole_gives_a_seat_in_each_lesson(self, house: House, school: School) -> None:
        guest = take(house, school.lesson(days=3, sold_whole=True))

        assert len(lessons_of(guest)) == 3

    def test_the_same_form_again_takes_them_once(self, house: House, school: School) -> None:
        lesson = school.lesson()
        asked = house.asked(PUPIL, hour=14)

        first, again = (
            services.book_lesson(
                actor=HOME, front_id=house.front.pk, lesson_id=lesson.pk, asked=asked, now=house.cast.now
            )
            for _tap in range(2)
        )

        assert first == again
        assert Seat.objects.count() == 1

    def test_a_lesson_of_another_station_is_not_there(self, house: House, school: School) -> None:
        lesson = school.lesson()
        lesson.course.station = house.cast.kettle
        lesson.course.save()

        with pytest.raises(NotVisible):
            take(house, lesson)

    def test_it_is_too_soon_within_the_stations_notice(self, house: House, school: School) -> None:
        lesson = school.lesson(hours=(11,))

        with pytest.raises(UnableToBook, match="too soon"):
            take(house, lesson, now=house.cast.at(10, 30))

    @pytest.mark.parametrize(
        ("facts", "field"),
        [({"level": "expert"}, "riders.0.level"), ({"youngest_years": 40}, "riders.0.born_on")],
    )
    def test_who_does_not_fit_is_told_beside_the_field(
        self, house: House, school: School, facts: dict[str, Any], field: str
    ) -> None:
        with pytest.raises(UnableToEnrol) as refused:
            take(house, school.lesson(**facts))

        assert set(refused.value.fields) == {field}

    def test_a_full_lesson_says_so_and_leaves_nothing_behind(self, house: House, school: School) -> None:
        lesson = school.lesson(seats=1)
        take(house, lesson)

        with pytest.raises(LessonFull, match="0 of 1 seats are left in First steps"):
            take(house, lesson, replace(PUPIL, name="Bo Brill"))

        assert Guest.objects.count() == 1


class TestChanging:
    def test_seats_move_to_the_other_lesson_and_are_free_in_the_first(
        self, house: House, school: School
    ) -> None:
        first, other = school.lesson(seats=1), school.lesson(hours=(16,), name="Harness")
        guest = take(house, first)

        change(house, guest, other)

        assert lessons_of(guest) == [other]
        assert house.outings(guest)[0].starts_at == other.starts_at
        assert house.kinds(guest) == ["confirmed", "changed"]
        assert take(house, first, replace(PUPIL, name="Bo Brill")).state == "booked"

    def test_who_finds_the_other_full_keeps_what_they_have(self, house: House, school: School) -> None:
        first, other = school.lesson(), school.lesson(hours=(16,), seats=1)
        guest = take(house, first)
        take(house, other, replace(PUPIL, name="Bo Brill"))

        with pytest.raises(LessonFull):
            change(house, guest, other)

        assert lessons_of(guest) == [first]

    def test_to_its_own_lesson_it_changes_nothing(self, house: House, school: School) -> None:
        lesson = school.lesson(seats=1)
        guest = take(house, lesson)

        change(house, guest, lesson)

        assert lessons_of(guest) == [lesson]
        assert house.kinds(guest) == ["confirmed"]

    def test_after_the_stations_rule_it_is_too_late(self, house: House, school: School) -> None:
        first, other = school.lesson(), school.lesson(hours=(16,))
        guest = take(house, first)

        change(house, guest, other, after=2 * HOUR)
        with pytest.raises(services.TooLate, match="0700 888 000"):
            change(house, guest, first, after=4 * HOUR + MINUTE)

    def test_a_whole_course_is_changed_by_the_desk(self, house: House, school: School) -> None:
        guest = take(house, school.lesson(days=2, sold_whole=True))

        with pytest.raises(UnableToEnrol, match="Call us"):
            change(house, guest, school.lesson(hours=(16,)))

    def test_who_cancels_frees_the_seat(self, house: House, school: School) -> None:
        lesson = school.lesson(seats=1)
        guest = take(house, lesson)

        services.leave(actor=HOME, guest_id=guest.pk, now=house.cast.now)

        assert house.kinds(guest) == ["confirmed", "cancelled"]
        assert take(house, lesson, replace(PUPIL, name="Bo Brill")).state == "booked"

    def test_the_calendar_follows_the_seat(self, house: House, school: School) -> None:
        """One UID whatever the lesson (RFC 5545, 3.8.4.7), its SEQUENCE rising. Read by `icalendar`."""
        first, other = school.lesson(), school.lesson(hours=(16,), name="Harness")
        guest = take(house, first)
        change(house, guest, other)
        services.leave(actor=HOME, guest_id=guest.pk, now=house.cast.now)

        events = [
            icalendar.Calendar.from_ical(letter.calendar).walk("VEVENT")[0] for letter in house.letters(guest)
        ]

        assert len({event["uid"] for event in events}) == 1
        assert [str(event["summary"]) for event in events] == ["First steps", "Harness", "Harness"]
        assert [event["sequence"] for event in events] == [0, 1, 2]
        assert [event["status"] for event in events] == ["CONFIRMED", "CONFIRMED", "CANCELLED"]

    def test_a_course_has_an_event_for_each_lesson(self, house: House, school: School) -> None:
        guest = take(house, school.lesson(days=3, sold_whole=True))

        (letter,) = house.letters(guest)
        calendar = icalendar.Calendar.from_ical(letter.calendar)

        events = calendar.walk("VEVENT")
        assert [event.decoded("dtstart") for event in events] == [
            house.cast.at(14) + n * DAY for n in range(3)
        ]
        assert len({event["uid"] for event in events}) == 3
        assert letter.body.count(": First steps, Tarrow Lagoon") == 3


class TestTheOpenPage:
    def test_it_shows_seats_level_language_and_price(
        self, house: House, school: School, client: Client
    ) -> None:
        PriceList(house.cast)
        lesson = school.lesson(seats=3, about="Sand, shallow water", language="de")
        take(house, lesson)

        page = client.get(place(house, "front-lessons")).content.decode()

        assert "14:00–16:00 First steps" in page
        assert "2 seats free" in page
        assert "Taught in German, from 8 years on." in page
        assert "EUR\u00a055.00 each" in page
        assert "Beginner: to and fro in light wind" in page

    def test_without_prices_it_shows_the_lesson_all_the_same(
        self, house: House, school: School, client: Client
    ) -> None:
        school.lesson()

        page = client.get(place(house, "front-lessons")).content.decode()

        assert "4 seats free" in page
        assert " each" not in page

    def test_a_full_lesson_is_not_offered(self, house: House, school: School, client: Client) -> None:
        take(house, school.lesson(seats=1))

        assert "First steps" not in client.get(place(house, "front-lessons")).content.decode()

    def test_a_course_is_priced_for_all_its_lessons(self, house: House, school: School) -> None:
        PriceList(house.cast)
        school.lesson(days=3, sold_whole=True)

        (offer,) = queries.lessons_on(house.front, house.cast.now.date(), now=house.cast.now)

        assert offer.price is not None
        assert str(offer.price.total) == "EUR 165.00"  # three at 55

    def test_a_booking_leads_to_the_partys_page_with_what_is_to_pay(
        self, house: House, school: School, client: Client
    ) -> None:
        PriceList(house.cast)
        lesson = school.lesson()

        sent = client.post(
            place(house, "front-lesson", lesson.pk), {**house.typed(), "riders-0-level": "beginner"}
        )

        assert sent.status_code == 302
        seen = client.get(sent.headers["Location"]).content.decode()
        assert "14:00–16:00: First steps" in seen
        assert "To pay at the desk: EUR\u00a055.00" in seen

    def test_who_comes_too_late_keeps_what_they_typed(
        self, house: House, school: School, client: Client
    ) -> None:
        lesson = school.lesson(seats=1)
        take(house, lesson)
        typed = {**house.typed(note="We bring cake"), "riders-0-level": "beginner"}

        page = client.post(place(house, "front-lesson", lesson.pk), typed)

        assert page.status_code == 409
        form = Form(page)
        for name in ("contact_name", "contact_email", "note", "once", "riders-0-name", "riders-0-mass_kg"):
            assert form.value(name) == typed[name]
        assert form.ticked("riders-0-waiver")
        assert "0 of 1 seats are left in First steps" in page.content.decode()

    def test_a_child_below_the_courses_age_is_told_beside_the_date(
        self, house: House, school: School, client: Client
    ) -> None:
        lesson = school.lesson(youngest_years=40)

        page = client.post(
            place(house, "front-lesson", lesson.pk), {**house.typed(), "riders-0-level": "beginner"}
        )

        assert page.status_code == 422
        assert Form(page).said("riders-0-born_on") == "First steps is for riders from 40 years on."

    def test_a_lesson_that_is_called_off_is_not_there(
        self, house: House, school: School, client: Client
    ) -> None:
        lesson = school.lesson()
        school.move(lesson, by=None)

        assert client.get(place(house, "front-lesson", lesson.pk)).status_code == 404

    def test_the_link_changes_to_another_lesson(self, house: House, school: School, client: Client) -> None:
        guest = take(house, school.lesson())
        other = school.lesson(hours=(16,), name="Harness")
        link = place(house, "visit", house.token(guest))
        assert "Change to 16:00" in client.get(f"{link}move/").content.decode()

        sent = client.post(f"{link}move/", {"lesson": str(other.pk)})

        assert sent.status_code == 302
        assert "16:00–18:00: Harness" in client.get(link).content.decode()

    def test_what_is_no_lesson_changes_nothing(self, house: House, school: School, client: Client) -> None:
        guest = take(house, school.lesson())
        link = place(house, "visit", house.token(guest))

        assert client.post(f"{link}move/", {"lesson": "x"}).status_code == 200
        assert client.post(f"{link}move/", {"lesson": "9" * 18}).status_code == 404
        assert house.kinds(guest) == ["confirmed"]

    def test_a_rental_shows_its_price_before_it_is_booked(self, house: House, client: Client) -> None:
        PriceList(house.cast)
        asked = {"day": f"{house.cast.now:%Y-%m-%d}", "half": "afternoon", "hours": "2"}
        rider = {"r0-mass_kg": "72", "r0-level": "advanced"}

        times = client.get(place(house, "front"), {**asked, **rider}).content.decode()
        form = client.get(place(house, "front-book"), {**asked, **rider, "starts_at": "14:00"})

        assert "<strong>EUR\u00a050.00</strong>" in times  # two hours at 25
        assert "Price: EUR\u00a050.00" in form.content.decode()
