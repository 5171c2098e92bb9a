"""Physics of the wind against published tables and general-purpose libraries."""

import contextlib
import warnings
from collections.abc import Callable

import ambiance
import metpy.calc
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from metpy.units import units as metpy_units
from windpowerlib import wind_speed

from rigging import wind
from rigging.units import BadValue, kmh
from tests.rigging.reference import rows


@pytest.mark.parametrize("height_m", [1, 2, 2.5, 3, 4, 5, 20])
def test_it_agrees_with_the_wind_power_library_on_the_log_law(height_m: float) -> None:
    # windpowerlib 0.2.2, wind_speed.logarithmic_profile
    peer = wind_speed.logarithmic_profile(8.0, 10, height_m, 0.0002)

    assert wind.speed_at_height(8.0, 10, height_m, 0.0002) == pytest.approx(peer, rel=1e-12)


def test_it_puts_the_beach_wind_at_851_thousandths_of_the_forecast() -> None:
    # log law over the sea, Davenport-Wieringa class 1, 2 m against 10 m
    assert wind.beach_wind(10.0) == pytest.approx(8.513, abs=5e-4)


@given(speed=st.floats(0, 60), there=st.floats(0.5, 100))
def test_it_returns_to_the_height_it_came_from(speed: float, there: float) -> None:
    back = wind.speed_at_height(wind.speed_at_height(speed, 10, there), there, 10)

    assert back == pytest.approx(speed, abs=1e-9)


@pytest.mark.parametrize("row", rows("air_density"), ids=lambda row: f"{row['temperature_c']}C")
def test_it_is_within_6_hundredths_of_a_percent_of_cipm_2007(row: dict[str, str]) -> None:
    density = wind.air_density(
        float(row["temperature_c"]), float(row["pressure_hpa"]), float(row["relative_humidity"])
    )

    assert density == pytest.approx(float(row["density_kg_m3"]), rel=6e-4)


def test_it_agrees_with_the_standard_atmosphere_library_at_sea_level() -> None:
    # ambiance 1.3.1 implements ISO 2533
    peer = float(ambiance.Atmosphere(0).density[0])

    assert wind.air_density(15.0, 1013.25, 0.0) == pytest.approx(peer, rel=1e-4)


@pytest.mark.parametrize(("celsius", "share"), [(20, 0.5), (10, 0.8), (30, 0.8)])
def test_it_agrees_with_the_meteorology_library_on_density(celsius: float, share: float) -> None:
    # MetPy 1.7, calc.density; its saturation pressure follows another formula
    pressure = 1013.25 * metpy_units.hPa
    temperature = metpy_units.Quantity(celsius, "degC")
    mixing = metpy.calc.mixing_ratio_from_relative_humidity(pressure, temperature, share)
    peer = metpy.calc.density(pressure, temperature, mixing).to("kg/m^3").magnitude

    assert wind.air_density(celsius, 1013.25, share) == pytest.approx(peer, rel=5e-5)


@pytest.mark.parametrize("row", rows("beaufort"), ids=lambda row: row["name"])
def test_it_names_both_ends_of_a_beaufort_class(row: dict[str, str]) -> None:
    numbers = wind.beaufort(np.array([float(row["low_ms"]), float(row["high_ms"])]))

    assert numbers.tolist() == [int(row["number"])] * 2
    assert wind.beaufort_name(int(row["number"])) == row["name"]


def test_it_takes_the_class_from_metres_per_second_not_from_rounded_knots() -> None:
    # 10.75 m/s is 20.9 kn, which rounds into the same 21 kn as 10.8 m/s does
    assert (wind.beaufort(10.75), wind.beaufort(10.8)) == (5, 6)


@pytest.mark.parametrize("row", rows("gust_ratio"), ids=lambda row: f"{row['gust_s']}of{row['averaging_s']}")
@pytest.mark.parametrize("exposure", wind.Exposure)
def test_it_reads_the_published_gust_ratio(row: dict[str, str], exposure: wind.Exposure) -> None:
    ratio = wind.gust_ratio(float(row["averaging_s"]), float(row["gust_s"]), exposure)

    assert ratio == pytest.approx(float(row[exposure]), abs=1e-12)


@given(period=st.floats(60, 3600), gust=st.floats(3, 600), exposure=st.sampled_from(wind.Exposure))
def test_it_never_puts_a_gust_below_its_mean(period: float, gust: float, exposure: wind.Exposure) -> None:
    assert 1 <= wind.gust_ratio(period, gust, exposure) <= wind.gust_ratio(3600, 3, exposure)


@pytest.mark.parametrize("row", rows("wind_chill_nws"), ids=lambda row: f"{row['temperature_f']}F")
def test_it_reproduces_the_printed_wind_chill_chart(row: dict[str, str]) -> None:
    celsius = (float(row["temperature_f"]) - 32) / 1.8
    speeds = [speed for speed in row if speed != "temperature_f"]
    chills = [wind.wind_chill_c(celsius, float(mph) * 1.609344) * 1.8 + 32 for mph in speeds]

    assert [round(chill) for chill in chills] == [int(row[mph]) for mph in speeds]


def test_it_agrees_with_the_meteorology_library_on_wind_chill() -> None:
    # MetPy 1.7, calc.windchill
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        peer = metpy.calc.windchill(metpy_units.Quantity(-10, "degC"), 30 * metpy_units("km/h"))

    assert wind.wind_chill_c(-10.0, 30.0) == pytest.approx(peer.to("degC").magnitude, abs=0.01)


@pytest.mark.parametrize(("celsius", "speed_kmh"), [(10.1, 40.0), (20.0, 40.0), (5.0, 4.8)])
def test_it_gives_the_air_temperature_where_wind_chill_is_not_defined(
    celsius: float, speed_kmh: float
) -> None:
    assert wind.wind_chill_c(celsius, speed_kmh) == celsius


@pytest.mark.parametrize(
    ("from_deg", "seaward_deg", "expected"),
    [
        # common practice, no source: a beach that faces west (270)
        pytest.param(270, 270, wind.Shore.ON_SHORE, id="straight on"),
        pytest.param(225, 270, wind.Shore.ON_SHORE, id="side-on"),
        pytest.param(360, 270, wind.Shore.SIDE_SHORE, id="along the beach"),
        pytest.param(0, 270, wind.Shore.SIDE_SHORE, id="along, as zero"),
        pytest.param(90, 270, wind.Shore.OFF_SHORE, id="straight off"),
        pytest.param(150, 270, wind.Shore.OFF_SHORE, id="at the limit counts as off"),
        pytest.param(151, 270, wind.Shore.SIDE_SHORE, id="past the limit"),
        pytest.param(350, 10, wind.Shore.ON_SHORE, id="across north"),
        pytest.param(170, 10, wind.Shore.OFF_SHORE, id="off across north"),
    ],
)
def test_it_tells_the_shore_angle(from_deg: float, seaward_deg: float, expected: wind.Shore) -> None:
    assert wind.shore(from_deg, seaward_deg) is expected


@given(from_deg=st.floats(0, 360), seaward=st.floats(0, 360), turn=st.floats(0, 360))
def test_it_sees_the_same_shore_angle_when_beach_and_wind_turn_together(
    from_deg: float, seaward: float, turn: float
) -> None:
    off_sea = abs((from_deg - seaward + 180) % 360 - 180)
    if min(abs(off_sea - 60), abs(off_sea - 120)) < 1e-6:
        return

    assert wind.shore((from_deg + turn) % 360, (seaward + turn) % 360) is wind.shore(from_deg, seaward)


def test_it_takes_arrays_where_the_design_says_so() -> None:
    speeds = np.array([3.0, 9.0])

    assert wind.speed_at_height(speeds, 10, 2).shape == (2,)
    assert wind.wind_chill_c(np.array([5.0, 20.0]), kmh(10.0) * np.ones(2))[1] == 20.0
    assert wind.shore(np.array([270.0, 90.0]), 270).tolist() == [wind.Shore.ON_SHORE, wind.Shore.OFF_SHORE]


CALLS: dict[str, Callable[[float], object]] = {
    "speed_at_height": lambda x: wind.speed_at_height(x, 10, 2),
    "height": lambda x: wind.speed_at_height(5.0, x, 2),
    "roughness": lambda x: wind.speed_at_height(5.0, 10, 2, x),
    "beach_wind": lambda x: wind.beach_wind(x),
    "temperature": lambda x: wind.air_density(x, 1013.25, 0.5),
    "pressure": lambda x: wind.air_density(15.0, x, 0.5),
    "humidity": lambda x: wind.air_density(15.0, 1013.25, x),
    "beaufort": lambda x: wind.beaufort(x),
    "beaufort_name": lambda x: wind.beaufort_name(x),  # type: ignore[arg-type]
    "averaging": lambda x: wind.gust_ratio(x),
    "gust": lambda x: wind.gust_ratio(600, x),
    "chill": lambda x: wind.wind_chill_c(x, 20.0),
    "chill wind": lambda x: wind.wind_chill_c(0.0, x),
    "from": lambda x: wind.shore(x, 270),
    "seaward": lambda x: wind.shore(90, x),
}


@pytest.mark.parametrize("call", CALLS.values(), ids=CALLS.keys())
@given(number=st.floats() | st.sampled_from(["7", None, True]))
def test_it_refuses_or_answers_with_a_number(call: Callable[[float], object], number: float) -> None:
    with contextlib.suppress(BadValue):
        answer = call(number)
        assert answer == answer  # NaN alone differs from itself
