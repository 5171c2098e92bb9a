"""May a party be promised its time: in several winds, beside everybody who is booked."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from rentals.bookings.models import Outing
from rentals.dayplan import queries
from rentals.people.models import Rider
from tests.rentals.dayplan.day import Day


def ask(day: Day, *riders: Rider, hour: int = 11, **values: Any) -> queries.Promise:
    """Whether riders like Wren can be served."""
    usual: dict[str, Any] = {
        "kind": "rental",
        "starts_at": day.cast.at(hour),
        "ends_at": day.cast.at(hour + 2),
        "riders": riders or (Rider(mass_kg=72, stature_cm=176, level="advanced"),),
    }
    return queries.promise(day.cast.tarrow, queries.Wish(**{**usual, **values}), now=day.cast.now)


def short(promise: queries.Promise, wind: str) -> int:
    (outlook,) = (each for each in promise.outlooks if each.wind == wind)
    return len(outlook.short)


def test_a_free_shed_serves_one_in_the_wind_as_forecast_and_keeps_nothing(day: Day) -> None:
    day.cast.blow()
    assert day.cast.shed

    assert short(ask(day), "middle") == 0
    assert not Outing.objects.exists()


def test_who_is_booked_comes_first(day: Day) -> None:
    """One mast for the sails that suit; Wren has it from eleven to one."""
    day.booked(day.cast.wren)

    taken, later = ask(day), ask(day, hour=14)

    assert (short(taken, "middle"), short(later, "middle")) == (1, 0)
    assert taken.text.startswith("Without a rig would be: in ")
    (outlook,) = (each for each in taken.outlooks if each.wind == "middle")
    assert outlook.sure
    assert "mast" in outlook.short[0].remedy


def test_a_wind_too_strong_for_the_level_is_told_apart(day: Day) -> None:
    """Intermediates stay ashore over 21 kn on the beach: common practice, no source; 18 kn x 1.25 is more."""
    assert day.cast.shed
    day.cast.blow()

    promise = ask(day, Rider(mass_kg=72, stature_cm=176, level="intermediate"))

    assert (short(promise, "middle"), short(promise, "strong")) == (0, 1)
    strong = next(each for each in promise.outlooks if each.wind == "strong")
    assert "safety is never traded" in strong.short[0].reason


@pytest.mark.parametrize(("hour", "says"), [(9, "too soon"), (20, "enter the wind")])
def test_where_nothing_can_be_said_it_says_why(day: Day, hour: int, says: str) -> None:
    day.cast.blow()
    assert day.cast.shed

    with pytest.raises(queries.UnableToSay, match=says):
        ask(day, hour=hour)


def test_it_asks_few_queries(day: Day) -> None:
    day.two()
    assert day.cast.tarrow

    with CaptureQueriesContext(connection) as asked:
        ask(day)

    assert len(asked) <= 7
