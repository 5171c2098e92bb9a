"""Promising: a party is told yes only when it is served beside everybody booked."""

from dataclasses import replace

import pytest

from rigging.allot.problem import Priority, Problem
from rigging.allot.promise import promise
from rigging.units import BadValue
from tests.rigging.allot import instances, sheds

booked = sheds.rider("booked", sails={5.3: 0.3}, priority=Priority.WALK_IN)
asks = sheds.rider("asks", sails={5.3: 0.1, 4.2: 0.0}, priority=Priority.LESSON)


def day(small_sails: int = 1) -> Problem:
    sails = (sheds.sail(5.3), sheds.sail(4.2, small_sails))
    return sheds.shed(booked, asks, sails=sails, masts=(sheds.mast(430), sheds.mast(400)))


def test_it_promises_what_every_wind_allows() -> None:
    assert promise({"light": day(), "strong": day()}, frozenset({"asks"})).holds


def test_it_does_not_displace_who_is_booked_even_for_a_lesson() -> None:
    answer = promise({"strong": day(small_sails=0)}, frozenset({"asks"}))

    assert not answer.holds
    assert {a.demand for a in answer.outlooks[0].plan.assignments} == {"booked"}


def test_it_says_in_which_wind_who_goes_short_of_what() -> None:
    answer = promise({"light": day(), "strong": day(small_sails=0)}, frozenset({"asks"}))

    assert answer.text == ("In strong wind 1 would go short: asks: one more thrift 5.3 sail before 10:00.")


def test_it_refuses_a_party_that_is_not_in_the_day() -> None:
    with pytest.raises(BadValue, match="party is nobody"):
        promise({"light": day()}, frozenset({"nobody"}))


def test_it_is_sure_of_its_answer_on_a_stations_day() -> None:
    problem = instances.day(instances.SMALL, 4)
    calm = replace(problem, demands=tuple(replace(d, sails={}) for d in problem.demands))

    answer = promise({"calm": calm, "fair": problem}, frozenset(d.id for d in problem.demands[-3:]))

    assert [outlook.served for outlook in answer.outlooks] == [False, True]
    assert all(outlook.sure for outlook in answer.outlooks)
