"""Overdue phases: definitions of search and rescue, minutes of the station, clocks that misbehave."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging import checks
from rigging.checks import Conditions, Phase, PhaseMinutes
from rigging.sun import sun_times
from rigging.units import BadValue

SHORE_ZONE = ZoneInfo("Europe/London")
DUE = datetime(2026, 7, 4, 14, 0, tzinfo=SHORE_ZONE)
JULY_SUN = sun_times(date(2026, 7, 4), 54.1, -3.2, SHORE_ZONE)
FINE = Conditions(off_shore=False, water_c=18.0, sun=JULY_SUN, age_years=34)


def after(minutes: float) -> datetime:
    return DUE + timedelta(minutes=minutes)


@pytest.mark.parametrize(
    ("minutes", "expected"),
    [
        (-30, Phase.ON_TIME),
        (0, Phase.ON_TIME),
        (9.99, Phase.ON_TIME),
        (10, Phase.UNCERTAINTY),
        (24.9, Phase.UNCERTAINTY),
        (25, Phase.ALERT),
        (40, Phase.DISTRESS),
        (600, Phase.DISTRESS),
    ],
)
def test_it_names_the_phase_by_minutes_overdue(minutes: float, expected: Phase) -> None:
    # minutes: common practice, no source
    assert checks.phase(DUE, after(minutes)).phase is expected


def test_it_follows_the_order_of_the_convention() -> None:
    # SAR Convention 1979, Annex 4.4: uncertainty, then alert, then distress
    assert [phase.value for phase in sorted(Phase, key=lambda phase: phase.rank)] == [
        "on_time",
        "uncertainty",
        "alert",
        "distress",
    ]


@pytest.mark.parametrize(
    ("phase", "asked"),
    [
        # SAR Convention, Annex 4.5.1-4.5.3 (MSC.70(69)): inquire; widen and alert services; act at once
        (Phase.UNCERTAINTY, "Start asking"),
        (Phase.ALERT, "alert the rescue service"),
        (Phase.DISTRESS, "Call the rescue service now"),
    ],
)
def test_it_says_what_the_convention_asks_for(phase: Phase, asked: str) -> None:
    assert asked in checks.ACTIONS[phase]


def test_it_is_no_later_than_the_aviation_rule_of_30_minutes_for_the_first_phase() -> None:
    # ICAO Annex 11, 5.2.1: uncertainty within 30 min of the estimated arrival
    assert PhaseMinutes().uncertainty <= 30


def test_it_halves_the_minutes_for_any_reason_given() -> None:
    result = checks.phase(DUE, after(5), halved_because=("off-shore wind",))

    assert result.phase is Phase.UNCERTAINTY
    assert result.next_phase_at == after(12.5)
    assert "halved for: off-shore wind" in result.reason.text


def test_it_is_distress_at_once_when_the_rider_is_seen_in_trouble() -> None:
    result = checks.phase(DUE, after(-60), sighted_in_trouble=True)

    assert (result.phase, result.next_phase) == (Phase.DISTRESS, None)


def test_it_tells_when_the_next_phase_begins_in_the_due_times_zone() -> None:
    result = checks.phase(DUE, after(12).astimezone(UTC))

    assert result.next_phase is Phase.ALERT
    assert result.next_phase_at == after(25)
    assert result.next_phase_at.tzinfo is SHORE_ZONE


def test_it_never_steps_back_when_the_clock_does() -> None:
    result = checks.phase(DUE, after(-55), reached=Phase.ALERT)

    assert result.phase is Phase.ALERT
    assert "stands until the rider is found" in result.reason.text


def test_it_counts_true_minutes_over_the_hour_that_is_repeated_in_autumn() -> None:
    due = datetime(2026, 10, 25, 1, 50, tzinfo=SHORE_ZONE, fold=0)
    now = datetime(2026, 10, 25, 1, 5, tzinfo=SHORE_ZONE, fold=1)

    assert checks.phase(due, now).overdue_min == pytest.approx(15)


def test_it_counts_true_minutes_over_the_hour_that_is_skipped_in_spring() -> None:
    due = datetime(2026, 3, 29, 0, 55, tzinfo=SHORE_ZONE)
    now = datetime(2026, 3, 29, 2, 10, tzinfo=SHORE_ZONE)

    assert checks.phase(due, now).overdue_min == pytest.approx(15)


def test_it_goes_on_past_midnight() -> None:
    due = datetime(2026, 7, 4, 23, 50, tzinfo=SHORE_ZONE)

    assert checks.phase(due, due + timedelta(minutes=26)).phase is Phase.ALERT


@given(earlier=st.floats(-600, 600), wait=st.floats(0, 600), halved=st.booleans())
def test_it_never_falls_while_time_goes_on(earlier: float, wait: float, halved: bool) -> None:
    because = ("cold water",) if halved else ()

    before = checks.phase(DUE, after(earlier), halved_because=because).phase
    later = checks.phase(DUE, after(earlier + wait), halved_because=because).phase

    assert later.rank >= before.rank


@given(minutes=st.floats(-120, 120), halved=st.booleans())
def test_it_enters_the_next_phase_exactly_when_it_said(minutes: float, halved: bool) -> None:
    because = ("cold water",) if halved else ()
    result = checks.phase(DUE, after(minutes), halved_because=because)

    if result.next_phase_at is not None:
        assert checks.phase(DUE, result.next_phase_at, halved_because=because).phase is result.next_phase


@pytest.mark.parametrize("moment", [datetime(2026, 7, 4, 14), "14:00", None])  # noqa: DTZ001
def test_it_refuses_times_without_their_zone(moment: datetime) -> None:
    with pytest.raises(BadValue, match="due is"):
        checks.phase(moment, DUE)


def test_it_refuses_a_phase_that_is_none() -> None:
    with pytest.raises(BadValue, match="reached is late"):
        checks.phase(DUE, DUE, reached="late")  # type: ignore[arg-type]


@pytest.mark.parametrize("minutes", [(10, 10, 40), (25, 10, 40), (-1, 25, 40), (10, 25, float("nan"))])
def test_it_refuses_minutes_that_do_not_rise(minutes: tuple[float, float, float]) -> None:
    uncertainty, alert, distress = minutes
    with pytest.raises(BadValue, match="minutes is"):
        PhaseMinutes(uncertainty=uncertainty, alert=alert, distress=distress)


def conditions(**changed: object) -> Conditions:
    facts = {"off_shore": False, "water_c": 18.0, "sun": JULY_SUN, "age_years": 34, **changed}
    return Conditions(**facts)  # type: ignore[arg-type]


def test_it_does_not_halve_on_a_warm_bright_day() -> None:
    assert checks.halving(DUE, FINE) == ()


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        # common practice, no source
        ({"off_shore": True}, "off-shore wind"),
        ({"water_c": 14.9}, "water 14.9 °C, under 15 °C"),
        ({"age_years": 17}, "minor (17 years)"),
    ],
)
def test_it_halves_where_lateness_is_worse(changed: dict[str, object], words: str) -> None:
    assert checks.halving(DUE, conditions(**changed)) == (words,)


@pytest.mark.parametrize("unknown", ["off_shore", "water_c", "sun", "age_years"])
def test_it_takes_what_is_not_known_for_the_worse_case(unknown: str) -> None:
    (words,) = checks.halving(DUE, conditions(**{unknown: None}))

    assert "not known" in words


@pytest.mark.parametrize(("before_sunset_min", "halved"), [(99, True), (101, False)])
def test_it_halves_when_the_search_would_reach_the_last_hour_of_light(
    before_sunset_min: int, halved: bool
) -> None:
    assert JULY_SUN.sunset is not None
    due = JULY_SUN.sunset - timedelta(minutes=before_sunset_min)

    assert bool(checks.halving(due, FINE)) is halved


def test_it_does_not_fear_a_sunset_where_there_is_none() -> None:
    arctic = sun_times(date(2026, 7, 4), 70.0, 25.0, ZoneInfo("Europe/Oslo"))

    assert checks.halving(DUE, conditions(sun=arctic)) == ()


def test_it_halves_all_day_in_the_polar_night() -> None:
    arctic = sun_times(date(2026, 12, 20), 70.0, 25.0, ZoneInfo("Europe/Oslo"))

    assert checks.halving(DUE, conditions(sun=arctic)) == ("no daylight",)
