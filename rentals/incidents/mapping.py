"""The weather as an incident keeps it, and an incident stripped of names."""

from datetime import date, datetime
from typing import Any

from rentals.afloat.mapping import Beach, shore_of
from rentals.stations.models import Station
from rigging import wind
from rigging.drift import Drift, LastKnown, position_words

AGE_BANDS = ((12, "under 12"), (18, "12 to 17"), (30, "18 to 29"), (45, "30 to 44"), (60, "45 to 59"))
OLDEST_BAND = "60 and over"


def weather_at(station: Station, beach: Beach, forecast: wind.Hour | None) -> dict[str, Any]:
    """Return the weather of a moment as it is kept with what happened then; None where unknown.

    Args:
        station: where.
        beach: as it stood at that moment.
        forecast: the hour that holds the moment.
    """
    hour = beach.measured or forecast
    word = shore_of(station, beach, (hour,)) if hour else None
    return {
        "known": "measured" if beach.measured else "forecast" if forecast else "unknown",
        "mean_10_m_ms": hour.mean_ms if hour else None,
        "gust_10_m_ms": hour.gust_ms if hour else None,
        "beach_mean_ms": on_beach(hour.mean_ms if hour else None),
        "beach_gust_ms": on_beach(hour.gust_ms if hour else None),
        "from_deg": hour.from_deg if hour else None,
        "shore": word.value if word else None,
        "air_c": hour.temperature_c if hour else None,
        "water_c": beach.log.water_c if beach.log else None,
        "lightning_at": beach.last_lightning_at.isoformat() if beach.last_lightning_at else None,
    }


def on_beach(v10_ms: float | None) -> float | None:
    """Return a wind at head height from one at 10 m."""
    return None if v10_ms is None else float(wind.beach_wind(v10_ms))


def age_band(born_on: date, at: datetime) -> str:
    """Return an age so roughly that it points to nobody."""
    had_birthday = (at.month, at.day) >= (born_on.month, born_on.day)
    years = at.year - born_on.year - (not had_birthday)
    return next((words for below, words in AGE_BANDS if years < below), OLDEST_BAND)


def place_words(place: LastKnown | Drift) -> str:
    """Return a place in decimal degrees, and in degrees and minutes as it is said over radio."""
    latitude, longitude = place.latitude_deg, place.longitude_deg
    return f"{latitude:.5f}, {longitude:.5f} · {position_words(latitude, longitude)}"
