"""Stored hours and observations as the wind formulas take them."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

from rentals.weather.models import Hour, Observation
from rigging import wind

SHORTEST_PIECE = timedelta(minutes=1)


def blend(hours: Iterable[Hour]) -> tuple[wind.Hour, ...]:
    """Return hours in order of time, each moment from the newest run that speaks of it.

    Args:
        hours: from `Hour.objects.between`, newest run first. An older run fills only what newer ones leave
            open, cut to whole minutes.
    """
    taken: list[tuple[datetime, datetime]] = []
    blended: list[wind.Hour] = []
    for hour in hours:
        for start, end in _open_spans((hour.starts_at.astimezone(UTC), hour.ends_at.astimezone(UTC)), taken):
            blended.append(hour_to_core(hour, start, end))
            taken.append((start, end))
    return tuple(sorted(blended, key=lambda each: each.start))


def hour_to_core(hour: Hour, start: datetime, end: datetime) -> wind.Hour:
    """Return the part of a stored hour between two moments."""
    return wind.Hour(
        start=start,
        minutes=int((end - start).total_seconds() // 60),
        mean_ms=hour.mean_ms,
        gust_ms=hour.gust_ms,
        from_deg=hour.from_deg,
        temperature_c=hour.temperature_c,
        pressure_hpa=hour.pressure_hpa,
        relative_humidity=hour.relative_humidity,
        source=f"{hour.run.get_kind_display()}, {hour.run.received_at:%Y-%m-%d %H:%M} UTC",
    )


def observation_to_core(observation: Observation, minutes: int = 10) -> wind.Hour:
    """Return a measured wind brought to 10 m, as the period that ends with it."""
    measured = wind.Hour(
        start=observation.at,
        minutes=max(1, round((observation.averaging_s or minutes * 60) / 60)),
        mean_ms=observation.mean_ms,
        gust_ms=observation.gust_ms,
        from_deg=observation.from_deg,
        temperature_c=observation.temperature_c,
        source=observation.get_kind_display(),
    )
    return wind.at_ten_metres(measured, observation.height_m)


def covers(hours: Iterable[wind.Hour], start: datetime, end: datetime) -> bool:
    """Say whether hours that do not overlap leave no minute of a span open."""
    held = sum((min(hour.end, end) - max(hour.start, start)).total_seconds() for hour in hours)
    return held >= (end - start).total_seconds() - 60


def _open_spans(
    span: tuple[datetime, datetime], taken: list[tuple[datetime, datetime]]
) -> list[tuple[datetime, datetime]]:
    """Return what is left of a span when what is taken has been cut out, pieces under a minute dropped."""
    left = [span]
    for busy_start, busy_end in taken:
        left = [
            (piece_start, piece_end)
            for start, end in left
            for piece_start, piece_end in ((start, min(end, busy_start)), (max(start, busy_end), end))
            if piece_start < piece_end
        ]
    return [(start, end) for start, end in left if end - start >= SHORTEST_PIECE]
