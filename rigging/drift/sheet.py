"""The distress sheet's words: what to tell the rescue service about an overdue rider."""

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Final

from rigging.drift.cloud import Drift
from rigging.drift.leeway import LEEWAY

CAUTION: Final = (
    "Call the rescue service first: their model and their word come before this sheet. The figures are for a "
    "body or craft adrift; a rider who sails, paddles or swims goes elsewhere. Wind and current offshore "
    "differ from the beach's, and tides turn. Guidance for trained staff."
)

NAUTICAL_MILE_M: Final = 1852.0


def position_words(latitude_deg: float, longitude_deg: float) -> str:
    """A place in degrees and decimal minutes, as it is said over radio and telephone."""
    return f"{_minutes(latitude_deg, 2, 'NS')} {_minutes(longitude_deg, 3, 'EW')}"


def sheet_lines(drifts: Sequence[Drift]) -> tuple[str, ...]:
    """Return the lines to read to the rescue service: last sighting, each way to drift, what was assumed.

    Args:
        drifts: the same rider as different drifters (on the craft, in the water); may be empty.
    """
    lines = ["Call the rescue service first, then read this to them."]
    if drifts:
        seen = drifts[0].last_known
        lines.append(
            f"Last seen {_times(seen.at)} at {position_words(seen.latitude_deg, seen.longitude_deg)}, "
            f"within {seen.radius_m:.0f} m."
        )
    lines += [_drift_line(drift) for drift in drifts]
    assumed = dict.fromkeys(words for drift in drifts for words in drift.assumed)
    lines += [f"Assumed: {words}." for words in assumed]
    return tuple(lines)


def _drift_line(drift: Drift) -> str:
    ellipse = drift.ellipse
    return (
        f"If {LEEWAY[drift.drifter].words}: at {_times(drift.until)} near "
        f"{position_words(drift.latitude_deg, drift.longitude_deg)}, "
        f"{_distance(drift.distance_m)} toward {drift.bearing_deg:03.0f}° from the last sighting; "
        f"{drift.confidence:.0%} within {_distance(drift.radius_m)}, "
        f"or an ellipse {_distance(2 * ellipse.major_m)} by {_distance(2 * ellipse.minor_m)} "
        f"along {ellipse.bearing_deg:03.0f}°."
    )


def _times(moment: datetime) -> str:
    return f"{moment:%H:%M} {moment.tzname()} ({moment.astimezone(UTC):%d %b %H:%M} UTC)"


def _distance(metres: float) -> str:
    return f"{metres / 1000:.1f} km ({metres / NAUTICAL_MILE_M:.1f} nautical miles)"


def _minutes(angle_deg: float, digits: int, signs: str) -> str:
    # Rounded before it is split, so that 59.9996' never prints as 60.000'.
    thousandths = round(abs(angle_deg) * 60_000)
    whole, rest = divmod(thousandths, 60_000)
    return f"{whole:0{digits}d}° {rest / 1000:06.3f}' {signs[angle_deg < 0]}"
