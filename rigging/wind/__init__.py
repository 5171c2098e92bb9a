"""The wind: hours of forecast or measurement, the slot they make, and how it changes with height and air.

One convention holds everywhere: an `Hour`, a `SlotWind` and all that is stored are wind at 10 m over the
water. Rules of the trade and level limits speak of beach wind, at head height: `beach_wind`.
"""

from rigging.wind.air import (
    BEACH_FACTOR,
    Exposure,
    Shore,
    air_density,
    beach_wind,
    beaufort,
    beaufort_name,
    gust_ratio,
    shore,
    speed_at_height,
    wind_chill_c,
)
from rigging.wind.correction import Correction, corrected
from rigging.wind.hours import Hour, Part, SlotWind, at_ten_metres, gust_of, slot_wind

__all__ = [
    "BEACH_FACTOR",
    "Correction",
    "Exposure",
    "Hour",
    "Part",
    "Shore",
    "SlotWind",
    "air_density",
    "at_ten_metres",
    "beach_wind",
    "beaufort",
    "beaufort_name",
    "corrected",
    "gust_of",
    "gust_ratio",
    "shore",
    "slot_wind",
    "speed_at_height",
    "wind_chill_c",
]
