"""May a party be promised its time: in several winds, beside everybody who is booked."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from rentals.audit.models import Entry
from rentals.bookings.models import Outing
from rentals.dayplan import queries, services
from rentals.people.models import Rider
from rigging.units import KNOT_MS
from tests.rentals.dayplan.day import Day, asked, booked, rigs


def short(promise: queries.Promise, wind: str) -> int:
    (outlook,) = (each for each in promise.outlooks if each.wind == wind)
    return len(outlook.short)


def test_a_free_shed_serves_one_in_the_wind_as_forecast_and_keeps_nothing(day: Day) -> None:
    day.cast.blow()
    assert day.cast.shed

    assert short(asked(day), "middle") == 0
    assert not Outing.objects.exists()


def test_who_is_booked_comes_first(day: Day) -> None:
    """One mast for the sails that suit; Wren has it from eleven to one."""
    day.booked(day.cast.wren)

    taken, later = asked(day), asked(day, hour=14)

    assert (short(taken, "middle"), short(later, "middle")) == (1, 0)
    assert taken.text.startswith("Without a rig would be: in ")
    (outlook,) = (each for each in taken.outlooks if each.wind == "middle")
    assert outlook.sure
    assert "mast" in outlook.short[0].remedy


def test_a_wind_too_strong_for_the_level_is_told_apart(day: Day) -> None:
    """Intermediates stay ashore over 21 kn on the beach: common practice, no source; 18 kn x 1.25 is more."""
    assert day.cast.shed
    day.cast.blow()

    promise = asked(day, Rider(mass_kg=72, stature_cm=176, level="intermediate"))

    assert (short(promise, "middle"), short(promise, "strong")) == (0, 1)
    strong = next(each for each in promise.outlooks if each.wind == "strong")
    assert "safety is never traded" in strong.short[0].reason


def test_who_must_stay_ashore_in_more_wind_does_not_spoil_the_promise_but_in_the_forecast_wind(
    day: Day,
) -> None:
    assert day.cast.shed
    day.cast.blow()

    promise, weaker = (
        asked(day, Rider(mass_kg=72, stature_cm=176, level=level)) for level in ("intermediate", "improver")
    )

    assert (promise.holds, promise.ashore) == (True, frozenset())
    assert (weaker.holds, weaker.ashore) == (False, frozenset({0}))
    assert weaker.text.endswith("The wind is wrong for 1 of the party.")


def test_an_empty_shed_is_no_fault_of_the_wind(day: Day) -> None:
    day.cast.blow()

    promise = asked(day)

    assert (promise.holds, promise.ashore) == (False, frozenset())
    assert promise.text.startswith("Without a rig would be")


def test_it_says_what_they_would_get(day: Day) -> None:
    assert day.cast.shed
    day.cast.blow()

    middle = asked(day).outlooks[1]

    assert [(got.place, bool(got.sail), bool(got.board)) for got in middle.given] == [(0, True, True)]


def test_where_no_forecast_reaches_it_looks_at_light_middle_and_strong_wind(day: Day) -> None:
    """Weeks ahead there is none, and the desk books all the same."""
    assert day.cast.shed

    promise = asked(day)

    assert not promise.forecast
    assert [round(each.mean_ms / KNOT_MS) for each in promise.outlooks] == [9, 14, 20]


def test_a_walk_in_may_start_at_once_but_not_before(day: Day) -> None:
    day.cast.blow()
    assert day.cast.shed
    soon = day.cast.now + timedelta(minutes=5)

    assert short(asked(day, starts_at=soon, ends_at=soon + timedelta(hours=1)), "middle") == 1
    with pytest.raises(queries.UnableToSay, match="has begun"):
        asked(day, starts_at=day.cast.now, ends_at=soon)


def test_a_walk_in_gets_a_rig_that_stands(day: Day) -> None:
    """Wren's, who has it from eleven: it is back by then."""
    day.booked(day.cast.wren)
    (task,) = rigs(day.accepted())
    services.tick_rig(actor=day.cast.jory, task_id=task.pk, ticked=True, now=day.cast.now)
    soon = day.cast.now + timedelta(minutes=5)

    assert short(asked(day, starts_at=soon, ends_at=soon + timedelta(minutes=30)), "middle") == 0


def test_it_says_which_starts_are_open(day: Day) -> None:
    day.booked(day.cast.wren)
    wish = queries.Wish(
        kind="rental",
        starts_at=day.cast.at(10),
        ends_at=day.cast.at(12),
        riders=(Rider(mass_kg=72, stature_cm=176, level="advanced"),),
    )
    starts = [day.cast.at(hour) for hour in (9, 12, 14)]

    found = queries.open_starts(day.cast.tarrow, wish, starts, now=day.cast.now)

    assert [(start.hour, is_open) for start, is_open in found] == [
        (day.cast.at(12).hour, False),
        (day.cast.at(14).hour, True),
    ]


def test_it_asks_few_queries(day: Day) -> None:
    day.two()
    assert day.cast.tarrow

    with CaptureQueriesContext(connection) as captured:
        asked(day)

    assert len(captured) <= 10


class TestBooking:
    """Booking what was promised."""

    def test_a_promise_that_holds_is_booked(self, day: Day) -> None:
        day.cast.blow()
        assert day.cast.shed
        promise = asked(day, Rider(mass_kg=72, stature_cm=176, level="intermediate"))

        booking = booked(day, promise, despite="not needed")

        assert booking.despite == ""
        assert Outing.objects.get().booking == booking

    def test_one_that_does_not_hold_is_booked_only_with_a_reason_which_is_kept(self, day: Day) -> None:
        day.booked(day.cast.wren)
        promise = asked(day)

        with pytest.raises(services.UnableToPromise) as refused:
            booked(day, promise)
        booking = booked(day, promise, despite="She brings her own sail")

        assert "mast" in refused.value.fields["riders.0"]
        assert booking.despite == "She brings her own sail"
        assert Entry.objects.filter(
            subject_kind="booking", text__endswith="although: She brings her own sail"
        ).exists()

    def test_a_booking_that_came_between_makes_it_stale(self, day: Day) -> None:
        day.cast.blow()
        assert day.cast.shed
        promise = asked(day)
        day.cast.booked(day.cast.wren)

        with pytest.raises(services.PromiseIsStale):
            booked(day, promise, despite="All the same")
        assert Outing.objects.count() == 1

    def test_the_same_form_sent_twice_books_once(self, day: Day) -> None:
        day.cast.blow()
        assert day.cast.shed
        promise, once, rider = asked(day), uuid4(), day.reed().pk

        first, again = (
            booked(day, promise, once=once, riders=[rider], despite="Their own kit") for _ in range(2)
        )

        assert first == again
        assert Outing.objects.count() == 1
