"""A forecast put right by the beach: synthetic truth, and the real buoy against lagged persistence."""

import math
from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigging import wind
from rigging.units import BadValue
from tests.rigging.reference import rows
from tests.rigging.strategies import DAY, hours

FORECAST = [wind.Hour(start=DAY + timedelta(hours=at), mean_ms=8.0, source="model") for at in range(12)]


def measured(factor: float, count: int, minutes: int = 10) -> list[wind.Hour]:
    """`count` measurements from DAY on, `factor` times the forecast."""
    step = timedelta(minutes=minutes)
    return [wind.Hour(start=DAY + at * step, minutes=minutes, mean_ms=8.0 * factor) for at in range(count)]


@pytest.mark.parametrize("factor", [0.75, 1.0, 1.3])
def test_it_recovers_a_steady_bias(factor: float) -> None:
    now = DAY + timedelta(hours=4)

    found = wind.corrected(FORECAST, measured(factor, 24), now)

    assert found.ln_bias == pytest.approx(math.log(factor), abs=0.06)
    assert found.hours[4].mean_ms == pytest.approx(8 * factor, rel=0.08)
    assert found.ln_variance < wind.Hour(start=DAY, mean_ms=8).ln_sd ** 2


def test_it_recovers_synthetic_truth_better_than_the_forecast() -> None:
    generator = np.random.default_rng(7)
    raw_errors, put_right_errors = [], []
    for _ in range(200):
        bias = generator.normal(0, 0.15)
        noise = generator.normal(0, 0.1, 18)
        seen = [
            wind.Hour(start=h.start, minutes=10, mean_ms=h.mean_ms * math.exp(bias + e))
            for h, e in zip(measured(1.0, 18), noise, strict=True)
        ]
        found = wind.corrected(FORECAST, seen, DAY + timedelta(hours=3))
        raw_errors.append(bias**2)
        put_right_errors.append((math.log(found.hours[3].mean_ms / 8) - bias) ** 2)

    assert np.mean(put_right_errors) < 0.4 * np.mean(raw_errors)


def test_it_trusts_light_winds_less() -> None:
    # 0.5 m/s of instrument and rounding is a quarter of 2 m/s and little of 12
    biases = []
    for speed in (2.0, 12.0):
        forecast = [wind.Hour(start=hour.start, mean_ms=speed) for hour in FORECAST]
        seen = [wind.Hour(start=h.start, minutes=10, mean_ms=1.3 * speed) for h in measured(1.0, 6)]
        biases.append(wind.corrected(forecast, seen, DAY + timedelta(hours=1)).ln_bias)

    assert biases[0] < 0.8 * biases[1]


def test_it_believes_no_more_than_twice_the_forecast() -> None:
    found = wind.corrected(FORECAST, measured(5.0, 36), DAY + timedelta(hours=6))

    assert found.ln_bias == pytest.approx(math.log(2))


def test_it_fades_to_the_forecast_as_far_ahead_as_measurements_reach_back() -> None:
    found = wind.corrected(FORECAST, measured(1.3, 18), DAY + timedelta(hours=3))

    ahead = [hour.mean_ms for hour in found.hours[3:]]
    assert ahead == sorted(ahead, reverse=True)
    assert ahead[3:] == [8.0] * len(ahead[3:])


def test_it_leaves_past_hours_alone() -> None:
    found = wind.corrected(FORECAST, measured(1.3, 18), DAY + timedelta(hours=3))

    assert found.hours[:3] == tuple(FORECAST[:3])


def test_it_never_looks_past_now() -> None:
    now = DAY + timedelta(hours=2)

    assert wind.corrected(FORECAST, measured(1.3, 60), now) == wind.corrected(
        FORECAST, measured(1.3, 12), now
    )


def test_it_stands_by_the_forecast_without_measurements() -> None:
    found = wind.corrected(FORECAST, [], DAY)

    assert (found.hours, found.ln_bias) == (tuple(FORECAST), 0.0)
    assert "stands as it is" in found.reason.text


def test_it_says_what_it_did() -> None:
    found = wind.corrected(FORECAST, measured(1.3, 18), DAY + timedelta(hours=3))

    assert "18 measurements" in found.reason.text
    assert "put right by the beach" in found.hours[3].source


def test_it_scales_gusts_with_the_mean() -> None:
    gusty = [wind.Hour(start=hour.start, mean_ms=8.0, gust_ms=11.0) for hour in FORECAST]

    hour = wind.corrected(gusty, measured(1.3, 18), DAY + timedelta(hours=3)).hours[3]

    assert hour.gust_ms == pytest.approx(hour.mean_ms * 11 / 8)


def test_it_never_lifts_a_forecast_past_what_can_be_measured() -> None:
    storm = [wind.Hour(start=hour.start, mean_ms=100.0, gust_ms=110.0) for hour in FORECAST]
    seen = [wind.Hour(start=hour.start, minutes=10, mean_ms=120.0) for hour in measured(1.0, 18)]

    hour = wind.corrected(storm, seen, DAY + timedelta(hours=3)).hours[3]

    assert hour.gust_ms == 120.0


def test_it_refuses_a_naive_now() -> None:
    with pytest.raises(BadValue, match="now"):
        wind.corrected(FORECAST, [], DAY.replace(tzinfo=None))


@settings(max_examples=40)
@given(
    forecast=st.lists(hours(), max_size=6), seen=st.lists(hours(), max_size=6), minutes=st.integers(0, 900)
)
def test_it_never_more_than_doubles_or_halves_a_forecast(
    forecast: list[wind.Hour], seen: list[wind.Hour], minutes: int
) -> None:
    found = wind.corrected(forecast, seen, DAY + timedelta(minutes=minutes))

    assert len(found.hours) == len(forecast)
    for before, after in zip(forecast, found.hours, strict=True):
        assert before.mean_ms / 2 - 1e-9 <= after.mean_ms <= 2 * before.mean_ms + 1e-9
        assert 0 <= after.ln_sd <= max(before.ln_sd, 0.15) + 1e-12


def buoy() -> dict[datetime, float]:
    """Hourly means [m/s] of the NDBC buoy 44013 (US public domain), by time."""
    table = rows("ndbc_44013_hourly")
    return {datetime.fromisoformat(row["hour"]): float(row["mean_ms"]) for row in table}


def test_it_is_never_worse_than_lagged_persistence_on_a_real_buoy() -> None:
    # The peer and raw forecast is the buoy's own wind 24 h before; corrected by its last 6 hours.
    truth = buoy()
    raw: dict[int, list[float]] = {1: [], 2: [], 3: [], 5: []}
    put_right: dict[int, list[float]] = {1: [], 2: [], 3: [], 5: []}
    for now in sorted(truth)[30:-6:3]:
        span = [now + timedelta(hours=at) for at in range(-6, 6)]
        lagged = [at - timedelta(hours=24) for at in span]
        if not all(at in truth for at in (*span, *lagged)):
            continue
        forecast = [wind.Hour(start=at, mean_ms=truth[old]) for at, old in zip(span, lagged, strict=True)]
        seen = [wind.Hour(start=at, mean_ms=truth[at]) for at in span[:6]]
        found = wind.corrected(forecast, seen, now).hours
        for ahead in raw:
            actual = math.log(max(truth[span[5 + ahead]], 1.0))
            raw[ahead].append((math.log(max(forecast[5 + ahead].mean_ms, 1.0)) - actual) ** 2)
            put_right[ahead].append((math.log(max(found[5 + ahead].mean_ms, 1.0)) - actual) ** 2)

    assert len(raw[1]) > 200
    for ahead, errors in raw.items():
        assert np.mean(put_right[ahead]) < np.mean(errors), f"{ahead} h ahead"
