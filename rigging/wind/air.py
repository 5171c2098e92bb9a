"""Physics of the wind: height, density, Beaufort, gusts, chill, and its angle to the shore."""

import math
from enum import StrEnum
from typing import Final, cast, overload

import numpy as np
from numpy.typing import NDArray

from rigging.units import BEAUFORT_MS, FloatArray, Numbers, array_in_range, in_range, shaped

# -- constants: value, unit, source, status ---------------------------------------------------------
SEA_ROUGHNESS_M: Final = (
    0.0002  # m; Davenport-Wieringa class 1, WMO wmdr SurfaceRoughnessDavenport; published
)
FORECAST_HEIGHT_M: Final = 10.0  # m; WMO-No. 8 standard height; published
BEACH_HEIGHT_M: Final = 2.0  # m; head height of a standing rider; common practice
R_DRY: Final = 287.05  # J/(kg K); ISO 2533; published
R_VAPOUR: Final = 461.5  # J/(kg K); published
MAGNUS: Final = (611.2, 17.62, 243.12)  # Pa, -, C; WMO-No. 8 vapour pressure over water; published
STANDARD_DENSITY: Final = 1.225  # kg/m3; ISO 2533 at sea level; published
STANDARD_HPA: Final = 1013.25  # hPa; ISO 2533; published
USUAL_HUMIDITY: Final = 0.7  # share; where a forecast has none, moves density by 0.3 % at most; policy
BEAUFORT_NAMES: Final = (
    "calm",
    "light air",
    "light breeze",
    "gentle breeze",
    "moderate breeze",
    "fresh breeze",
    "strong breeze",
    "near gale",
    "gale",
    "strong gale",
    "storm",
    "violent storm",
    "hurricane force",
)
CHILL: Final = (13.12, 0.6215, 11.37, 0.3965, 0.16)  # JAG/TI 2001 in C and km/h; published
CHILL_WARMEST_C: Final = 10.0  # C; its range of validity; published
CHILL_SLOWEST_KMH: Final = 4.8  # km/h; its range of validity; published
SHORE_SECTOR_DEG: Final = 60.0  # deg either side of the shore normal; common practice, station setting
GUST_S: Final = 3.0  # s; the usual gust; WMO-No. 8; published

FASTEST_MS: Final = 120.0
"""m/s: no wind at 10 m has been measured above; larger numbers are wrong units."""


class Exposure(StrEnum):
    """What the wind has blown over, after Harper, Kepert and Ginger 2010."""

    AT_SEA = "at_sea"
    OFF_SEA = "off_sea"
    OFF_LAND = "off_land"
    IN_LAND = "in_land"


# Harper, Kepert & Ginger 2010, WMO/TD-No. 1555, table 1.1: peak over mean; published.
GUST_PERIODS_S: Final = (60.0, 120.0, 180.0, 600.0, 3600.0)
GUST_LENGTHS_S: Final = (3.0, 60.0, 120.0, 180.0, 600.0)
GUST_RATIOS: Final = {
    Exposure.AT_SEA: (
        (1.11, 1.00, 1.00, 1.00, 1.00),
        (1.15, 1.00, 1.00, 1.00, 1.00),
        (1.17, 1.00, 1.00, 1.00, 1.00),
        (1.23, 1.05, 1.02, 1.00, 1.00),
        (1.30, 1.11, 1.07, 1.06, 1.03),
    ),
    Exposure.OFF_SEA: (
        (1.23, 1.00, 1.00, 1.00, 1.00),
        (1.28, 1.03, 1.00, 1.00, 1.00),
        (1.31, 1.05, 1.00, 1.00, 1.00),
        (1.38, 1.11, 1.05, 1.03, 1.00),
        (1.45, 1.17, 1.11, 1.09, 1.05),
    ),
    Exposure.OFF_LAND: (
        (1.36, 1.00, 1.00, 1.00, 1.00),
        (1.42, 1.08, 1.00, 1.00, 1.00),
        (1.44, 1.10, 1.04, 1.00, 1.00),
        (1.52, 1.16, 1.09, 1.06, 1.00),
        (1.60, 1.22, 1.15, 1.12, 1.06),
    ),
    Exposure.IN_LAND: (
        (1.49, 1.00, 1.00, 1.00, 1.00),
        (1.55, 1.13, 1.00, 1.00, 1.00),
        (1.58, 1.15, 1.08, 1.00, 1.00),
        (1.66, 1.21, 1.12, 1.09, 1.00),
        (1.75, 1.28, 1.19, 1.15, 1.08),
    ),
}


class Shore(StrEnum):
    """Where the wind blows from, seen from the beach."""

    ON_SHORE = "on_shore"
    SIDE_SHORE = "side_shore"
    OFF_SHORE = "off_shore"


# -- physics ----------------------------------------------------------------------------------------
def speed_at_height(
    speed_ms: Numbers, from_height_m: float, to_height_m: float, roughness_m: float = SEA_ROUGHNESS_M
) -> Numbers:
    """Return the wind [m/s] at another height over the same surface.

    Args:
        speed_ms: wind at `from_height_m`, scalar or array [m/s].
        from_height_m, to_height_m: heights over the water, 0.1-300, above the roughness [m].
        roughness_m: roughness length of the surface, 0.00001-2 [m].

    Raises:
        BadValue: for numbers outside those ranges.

    Notes:
        Neutral logarithmic law, U(z) = U(r) ln(z/z0) / ln(r/z0). Real flow across a beach differs.
    """
    roughness = in_range("roughness_m", roughness_m, "m", 1e-5, 2)
    low = max(0.1, roughness * 1.001)
    below = in_range("from_height_m", from_height_m, "m", low, 300)
    above = in_range("to_height_m", to_height_m, "m", low, 300)
    factor = math.log(above / roughness) / math.log(below / roughness)
    return shaped(array_in_range("speed_ms", speed_ms, "m/s", 0, FASTEST_MS) * factor, speed_ms)


BEACH_FACTOR: Final = speed_at_height(1.0, FORECAST_HEIGHT_M, BEACH_HEIGHT_M)
"""Beach wind over 10 m wind: 0.851 by the log law over the sea."""


def beach_wind(wind_ms: Numbers) -> Numbers:
    """Return the beach wind [m/s] at head height for a 10 m wind [m/s], scalar or array; raises BadValue."""
    return shaped(array_in_range("wind_ms", wind_ms, "m/s", 0, FASTEST_MS) * BEACH_FACTOR, wind_ms)


def air_density(temperature_c: Numbers, pressure_hpa: Numbers, relative_humidity: Numbers) -> Numbers:
    """Return the density of moist air [kg/m3], within 0.06 % of CIPM-2007.

    Args:
        temperature_c: -60 to 60 [C].
        pressure_hpa: station pressure, 500-1100 [hPa].
        relative_humidity: 0-1 [share].

    Raises:
        BadValue: for numbers outside those ranges.

    Notes:
        Ideal gases, rho = (p - e) / (R_d T) + e / (R_v T), with e by Magnus (WMO-No. 8).
    """
    celsius = array_in_range("temperature_c", temperature_c, "C", -60, 60)
    pascal = 100 * array_in_range("pressure_hpa", pressure_hpa, "hPa", 500, 1100)
    share = array_in_range("relative_humidity", relative_humidity, "", 0, 1)
    base, slope, offset = MAGNUS
    vapour = share * base * np.exp(slope * celsius / (offset + celsius))
    kelvin = celsius + 273.15
    density = (pascal - vapour) / (R_DRY * kelvin) + vapour / (R_VAPOUR * kelvin)
    return shaped(density, temperature_c)


@overload
def beaufort(speed_ms: float) -> int: ...
@overload
def beaufort(speed_ms: FloatArray) -> NDArray[np.int64]: ...
def beaufort(speed_ms: float | FloatArray) -> int | NDArray[np.int64]:
    """Return the Beaufort number, 0-12, of a 10 m wind [m/s]; raises BadValue.

    Notes:
        Half-open classes in m/s (WMO-No. 306), never from rounded knots.
    """
    speeds = array_in_range("speed_ms", speed_ms, "m/s", 0, FASTEST_MS)
    numbers = np.searchsorted(BEAUFORT_MS, speeds, side="right")
    return numbers if isinstance(numbers, np.ndarray) else int(numbers)


def beaufort_name(number: int) -> str:
    """Return the name of a Beaufort number, 0-12; raises BadValue."""
    return BEAUFORT_NAMES[int(in_range("number", number, "Bft", 0, 12))]


def gust_ratio(averaging_s: float, gust_s: float = GUST_S, exposure: Exposure = Exposure.OFF_SEA) -> float:
    """Return how many times the mean over `averaging_s` the strongest `gust_s` mean inside it is.

    Args:
        averaging_s: period of the mean, 60-3600 [s].
        gust_s: length of the gust, 3-600 [s].
        exposure: what the wind has blown over.

    Raises:
        BadValue: for numbers outside those ranges.

    Notes:
        Table 1.1 of Harper, Kepert & Ginger 2010 (WMO/TD-No. 1555), between its rows and columns
        linear in the logarithms of both times. For strong wind; light-wind gusts are larger.
    """
    period = math.log(in_range("averaging_s", averaging_s, "s", GUST_PERIODS_S[0], GUST_PERIODS_S[-1]))
    length = math.log(in_range("gust_s", gust_s, "s", GUST_LENGTHS_S[0], GUST_LENGTHS_S[-1]))
    lengths = np.log(GUST_LENGTHS_S)
    by_period = [float(np.interp(length, lengths, row)) for row in GUST_RATIOS[Exposure(exposure)]]
    return float(np.interp(period, np.log(GUST_PERIODS_S), by_period))


def wind_chill_c(temperature_c: Numbers, wind_kmh: Numbers) -> Numbers:
    """Return the wind chill [C] of 10 m wind [km/h]; the air's own temperature where it isn't defined.

    Raises:
        BadValue: for temperatures outside -60 to 60 C or winds outside 0 to 432 km/h.

    Notes:
        JAG/TI 2001, for dry skin at 10 C or less and more than 4.8 km/h: a wet rider cools faster.
    """
    celsius = array_in_range("temperature_c", temperature_c, "C", -60, 60)
    speed = array_in_range("wind_kmh", wind_kmh, "km/h", 0, FASTEST_MS * 3.6)
    c0, c_t, c_v, c_tv, exponent = CHILL
    power = speed**exponent
    chill = c0 + c_t * celsius - c_v * power + c_tv * celsius * power
    valid = (celsius <= CHILL_WARMEST_C) & (speed > CHILL_SLOWEST_KMH)
    return shaped(np.where(valid, chill, celsius), temperature_c)


@overload
def shore(from_deg: float, seaward_deg: float, *, sector_deg: float = ...) -> Shore: ...
@overload
def shore(from_deg: FloatArray, seaward_deg: float, *, sector_deg: float = ...) -> NDArray[np.object_]: ...
def shore(
    from_deg: float | FloatArray, seaward_deg: float, *, sector_deg: float = SHORE_SECTOR_DEG
) -> Shore | NDArray[np.object_]:
    """Return whether wind from `from_deg` is on-shore, side-shore or off-shore.

    Args:
        from_deg: where the wind blows from, scalar or array, 0-360 [deg].
        seaward_deg: bearing that faces the open water, 0-360 [deg].
        sector_deg: half-width of the on-shore and of the off-shore sector, 10-90 [deg].

    Raises:
        BadValue: for numbers outside those ranges.

    Notes:
        The limit itself counts as off-shore. Sector: common practice, no source.
    """
    directions = array_in_range("from_deg", from_deg, "deg", 0, 360)
    seaward = in_range("seaward_deg", seaward_deg, "deg", 0, 360)
    sector = in_range("sector_deg", sector_deg, "deg", 10, 90)
    off_sea = np.abs((directions - seaward + 180) % 360 - 180)
    kinds = np.array([Shore.OFF_SHORE, Shore.ON_SHORE, Shore.SIDE_SHORE], dtype=object)
    found = kinds[np.where(off_sea >= 180 - sector, 0, np.where(off_sea < sector, 1, 2))]
    return cast(Shore, found) if directions.ndim == 0 else found
