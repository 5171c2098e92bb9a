"""Hypothesis strategies of the trade, shared by the tests of the core."""

from datetime import UTC, datetime, timedelta

from hypothesis import strategies as st

from rigging import wind

DAY = datetime(2026, 6, 1, 8, 0, tzinfo=UTC)


def winds_ms(low: float = 0.0, high: float = 35.0) -> st.SearchStrategy[float]:
    """Winds in m/s."""
    return st.floats(low, high, allow_nan=False)


@st.composite
def hours(draw: st.DrawFn, low: float = 0.0, high: float = 30.0) -> wind.Hour:
    """One period of wind within a day of `DAY`."""
    mean = draw(winds_ms(low, high))
    ratio = draw(st.none() | st.floats(1.0, 2.5))
    return wind.Hour(
        start=DAY + timedelta(minutes=draw(st.integers(0, 600))),
        minutes=draw(st.sampled_from([10, 30, 60, 180, 360])),
        mean_ms=mean,
        gust_ms=None if ratio is None else mean * ratio,
        from_deg=draw(st.none() | st.floats(0, 360)),
        temperature_c=draw(st.none() | st.floats(-5, 35)),
        pressure_hpa=draw(st.none() | st.floats(960, 1050)),
        relative_humidity=draw(st.none() | st.floats(0, 1)),
    )
