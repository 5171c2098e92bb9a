"""Inspections: the first counter to run out decides, and what is late is held back."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging.units import BadValue
from rigging.wear import DEFAULT_RULES, Counters, InspectionDue, InspectionRule, inspection_due, inspections

LAST = date(2026, 6, 1)
RULE = InspectionRule(name="tendon", every_hours=40, every_days=30)


def stand(days: int, hours: float, **more: object) -> InspectionDue:
    return inspection_due(RULE, Counters(hours=hours), LAST, LAST + timedelta(days=days), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("days", "hours", "used", "by"),
    [(3, 30, 0.75, "water hours"), (15, 4, 0.5, "days"), (0, 0, 0.0, "water hours")],
)
def test_it_goes_by_the_counter_that_is_furthest(days: int, hours: float, used: float, by: str) -> None:
    result = stand(days, hours)

    assert result.used == pytest.approx(used)
    assert (result.by, result.due) == (by, False)


@pytest.mark.parametrize(("days", "hours"), [(30, 0), (2, 40), (45, 60)])
def test_it_is_due_when_the_first_counter_reaches_its_interval(days: int, hours: float) -> None:
    assert stand(days, hours).due


@pytest.mark.parametrize(("days", "held"), [(30, False), (31, False), (32, True)])
def test_it_holds_back_after_a_day_of_grace(days: int, held: bool) -> None:
    # common practice, no source
    assert stand(days, 0).held_back is held


def test_it_holds_back_at_once_where_no_grace_is_set() -> None:
    assert stand(31, 0, grace_days=0).held_back


def test_it_holds_back_at_once_past_a_counter_without_a_pace() -> None:
    assert stand(1, 40).held_back


def test_it_grants_the_grace_at_the_pace_of_the_counter() -> None:
    pace = Counters(hours=4)

    assert not stand(10, 43, pace_per_day=pace).held_back
    assert stand(11, 45, pace_per_day=pace).held_back


def test_it_looks_ahead_at_the_pace_given() -> None:
    result = stand(5, 20, pace_per_day=Counters(hours=4))

    assert result.due_on == LAST + timedelta(days=5 + 5)


def test_it_cannot_date_a_counter_without_a_pace() -> None:
    rule = replace(RULE, every_days=None)

    assert inspection_due(rule, Counters(hours=3), LAST, LAST).due_on is None


def test_it_counts_no_days_before_the_last_inspection() -> None:
    assert inspection_due(RULE, Counters(), LAST, LAST - timedelta(days=3)).used == 0


def test_it_lists_the_most_used_first() -> None:
    rules = [RULE, InspectionRule(name="strap", every_hours=100)]
    since = {"tendon": Counters(hours=10), "strap": Counters(hours=90)}

    found = inspections(rules, since, {"tendon": LAST, "strap": LAST}, LAST)

    assert [each.rule.name for each in found] == ["strap", "tendon"]


def test_it_misses_no_inspection_without_a_record() -> None:
    with pytest.raises(BadValue, match="inspection is tendon"):
        inspections([RULE], {}, {}, LAST)


def test_it_examines_buoyancy_aids_every_12_months() -> None:
    # EN 365 as a pattern: periodic examination at least every 12 months by a competent person
    (rule,) = DEFAULT_RULES["buoyancy aid"]

    assert rule.every_days is not None
    assert rule.every_days <= 366
    assert "EN 365" in rule.source


@pytest.mark.parametrize(
    "intervals", [{}, {"every_hours": 0}, {"every_days": -1}, {"every_hours": float("nan")}]
)
def test_it_refuses_a_rule_that_never_comes_due(intervals: dict[str, float]) -> None:
    with pytest.raises(BadValue):
        InspectionRule(name="tendon", **intervals)  # type: ignore[arg-type]


@pytest.mark.parametrize("hours", [-1.0, float("nan"), float("inf"), "4"])
def test_it_refuses_counters_that_count_nothing(hours: float) -> None:
    with pytest.raises(BadValue, match="hours is"):
        stand(0, hours)


@given(hours=st.floats(0, 1000), more=st.floats(0, 100), days=st.integers(0, 400))
def test_it_never_frees_an_item_by_use(hours: float, more: float, days: int) -> None:
    assert stand(days, hours + more).held_back >= stand(days, hours).held_back
