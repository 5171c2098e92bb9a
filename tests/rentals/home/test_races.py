"""Two at home at once: the last place goes to one, the other is told; one form twice books once."""

from datetime import datetime
from functools import partial
from typing import Any
from uuid import uuid4

import pytest
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from rentals.bookings.models import Outing, Party
from rentals.home import queries, services
from rentals.home.models import Guest
from rentals.lessons.models import Lesson, Seat
from rentals.lessons.services import LessonFull
from rentals.lib import clock
from tests.rentals.browser import Form
from tests.rentals.home.house import HOME, PUPIL, House
from tests.rentals.lessons.school import School
from tests.rentals.test_races import at_once, meet_after, told_apart, without_deadlock
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


class TestLessons:
    """Seats of one lesson, from home."""

    def test_of_a_hundred_at_once_as_many_get_in_as_there_are_seats(self, house: House) -> None:
        lesson = School(house.cast).lesson(seats=8)
        takers = [lambda: house.take(lesson, PUPIL)] * 100

        with without_deadlock():
            answers = at_once(*takers)

        assert told_apart(answers) == {Guest: 8, LessonFull: 92}
        assert sorted(Seat.objects.filter(live=True).values_list("number", flat=True)) == list(range(1, 9))
        # Who was refused left nothing behind.
        assert (Outing.objects.count(), Guest.objects.count(), Party.objects.count()) == (8, 8, 8)

    def test_one_form_sent_twice_at_once_takes_one_seat(self, house: House) -> None:
        lesson, key = School(house.cast).lesson(), uuid4()

        answers = at_once(*[lambda: house.take(lesson, PUPIL, once=key)] * 2)

        assert {guest.pk for guest in answers if isinstance(guest, Guest)} == {Guest.objects.get().pk}
        assert Seat.objects.count() == 1

    def test_two_who_change_places_in_full_lessons_are_both_told(self, house: House) -> None:
        school = School(house.cast)
        first, other = school.lesson(seats=1), school.lesson(hours=(16,), seats=1)
        one, two = house.take(first, PUPIL), house.take(other, PUPIL)

        def change(guest: Guest, to: Lesson) -> Guest:
            return services.change_lesson(actor=HOME, guest_id=guest.pk, lesson_id=to.pk, now=house.cast.now)

        with without_deadlock():
            answers = at_once(lambda: change(one, other), lambda: change(two, first))

        assert told_apart(answers) == {LessonFull: 2}

    def test_in_two_browsers_one_has_the_last_seat_and_the_other_what_they_typed(
        self, house: House, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(clock, "now", lambda: house.cast.now)
        lesson = School(house.cast).lesson(seats=1)
        address = reverse("front-lesson", args=[house.cast.tarrow.slug, lesson.pk])
        typed = [
            {**house.typed(contact_name=name, note=f"{name} brings cake"), "riders-0-level": "beginner"}
            for name in ("Ada", "Bo")
        ]

        pages: dict[int, tuple[dict[str, str], Any]] = {}

        def post(sent: dict[str, str]) -> None:
            page = Client().post(address, sent)
            pages[page.status_code] = sent, page

        at_once(*(partial(post, sent) for sent in typed))

        assert sorted(pages) == [302, 409]
        sent, page = pages[409]
        form = Form(page)
        for name in ("contact_name", "contact_email", "note", "once", "riders-0-name", "riders-0-mass_kg"):
            assert form.value(name) == sent[name]
        assert "0 of 1 seats are left in First steps" in page.content.decode()
        assert Seat.objects.filter(live=True).count() == 1
