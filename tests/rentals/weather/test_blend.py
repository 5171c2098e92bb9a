"""Hours of several runs made into one row of time."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from rentals.weather.mapping import blend, covers
from rentals.weather.models import Hour, Kind, Run

START = datetime(2027, 7, 14, tzinfo=UTC)
MINUTE = timedelta(minutes=1)

spans = st.tuples(st.integers(0, 300), st.integers(1, 120))
runs = st.lists(st.lists(spans, max_size=6), max_size=6)


def stored(numbered: list[list[tuple[int, int]]]) -> list[Hour]:
    """Rows as the query gives them, newest run first; a run's mean is its number."""
    return [
        Hour(
            run=Run(kind=Kind.HAND, received_at=START),
            starts_at=START + first * MINUTE,
            ends_at=START + (first + length) * MINUTE,
            mean_ms=float(number),
        )
        for number, run in enumerate(numbered)
        for first, length in sorted(run)
    ]


@given(runs)
def test_each_minute_is_told_once_and_by_the_newest_run_that_speaks_of_it(
    numbered: list[list[tuple[int, int]]],
) -> None:
    told: dict[int, float] = {}
    for hour in blend(stored(numbered)):
        first = (hour.start - START) // MINUTE
        for minute in range(first, first + hour.minutes):
            assert minute not in told
            told[minute] = hour.mean_ms

    expected: dict[int, float] = {}
    for number, run in enumerate(numbered):
        for first, length in run:
            for minute in range(first, first + length):
                expected.setdefault(minute, float(number))
    assert told == expected


def test_a_hundred_days_of_hourly_runs_are_blended_without_growing_beyond_the_day() -> None:
    """Each hour of each run is cut by those before it; what is cut away must not be carried along."""
    day = [(60 * hour, 60) for hour in range(24)]

    blended = blend(stored([day] * 100))

    assert len(blended) == 24
    assert covers(blended, START, START + timedelta(days=1))
