"""Drift against the published leeway table and its worked figures, and the traps of signs and sides."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import atan2, degrees, hypot
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging import drift
from rigging.drift import Current, Drift, Drifter, LastKnown, Spread, WindStep
from rigging.units import KNOT_MS, BadValue
from tests.rigging.reference import rows

START = datetime(2026, 7, 4, 12, tzinfo=UTC)
SEEN = LastKnown(latitude_deg=54.1, longitude_deg=-3.2, at=START, radius_m=0)
SURE = Spread(wind_ms=0, current_ms=0)


def blowing(from_deg: float, speed_ms: float = 10.0, hours: float = 6) -> list[WindStep]:
    return [WindStep(start=START, minutes=60 * hours, wind10_ms=speed_ms, from_deg=from_deg)]


def drifted(
    drifter: Drifter = Drifter.WINDSURFER, hours: float = 1, from_deg: float = 0, **more: object
) -> Drift:
    settings = {"spread": SURE, "particles": 4000, **more}
    until = START + timedelta(hours=hours)
    return drift.drift(drifter, SEEN, blowing(from_deg), until, **settings)  # type: ignore[arg-type]


@pytest.mark.parametrize("row", rows("leeway"), ids=lambda row: row["key"])
def test_it_holds_the_published_table(row: dict[str, str]) -> None:
    # Allen & Plourde 1999, USCG R&D Center CG-D-08-99, table of 2011-08-25
    ours = next(each for each in drift.LEEWAY.values() if each.row == int(row["row"]))

    for name, line in (("dw", ours.down), ("cwr", ours.right), ("cwl", ours.left)):
        published = [float(row[f"{name}_{part}"]) for part in ("slope_pct", "offset_cm_s", "std_cm_s")]
        assert list(line) == published


@pytest.mark.parametrize(
    ("drifter", "wind_ms", "down", "aside"),
    [
        # computed from the published regressions, design table of section 1
        (Drifter.WINDSURFER, 5, 0.1628, 0.0215),
        (Drifter.WINDSURFER, 10, 0.2753, 0.0560),
        (Drifter.WINDSURFER, 15, 0.3878, 0.0905),
        (Drifter.BOARD, 5, 0.0965, 0.0255),
        (Drifter.BOARD, 10, 0.1930, 0.0510),
        (Drifter.PERSON, 15, 0.1440, 0.0810),
    ],
)
def test_it_gives_the_mean_leeway_of_the_table(
    drifter: Drifter, wind_ms: float, down: float, aside: float
) -> None:
    assert drift.leeway_ms(drifter, wind_ms) == pytest.approx((down, aside, -aside), abs=6e-5)


@pytest.mark.parametrize(
    ("drifter", "multiplier", "modifier_kn", "divergence_deg"),
    [
        # IAMSAR Manual Vol. II, older form: speed = multiplier U + modifier in knots, and divergence
        (Drifter.BOARD, 0.020, 0.00, 15),
        (Drifter.WINDSURFER, 0.023, 0.10, 12),
    ],
)
def test_it_agrees_with_the_older_form_of_the_rescue_manual(
    drifter: Drifter, multiplier: float, modifier_kn: float, divergence_deg: float
) -> None:
    down, right, _ = drift.leeway_ms(drifter, 10.0)

    assert hypot(down, right) == pytest.approx(multiplier * 10 + modifier_kn * KNOT_MS, rel=0.01)
    assert degrees(atan2(right, down)) == pytest.approx(divergence_deg, abs=0.6)


@pytest.mark.parametrize(
    ("drifter", "metres"), [(Drifter.WINDSURFER, 1011), (Drifter.BOARD, 719), (Drifter.PERSON, 396)]
)
def test_it_drifts_as_far_in_an_hour_as_the_mean_leeway(drifter: Drifter, metres: float) -> None:
    # 10 m/s for 1 h, computed from the published regressions
    down, right, _ = drift.leeway_ms(drifter, np.array([10.0]))

    assert 3600 * np.hypot(down, right)[0] == pytest.approx(metres, abs=1)


@pytest.mark.parametrize(("from_deg", "bearing_deg"), [(0, 180), (90, 270), (225, 45), (360, 180)])
def test_it_drifts_the_way_the_wind_blows(from_deg: float, bearing_deg: float) -> None:
    assert drifted(from_deg=from_deg).bearing_deg == pytest.approx(bearing_deg, abs=1)


def test_it_keeps_survival_suits_mostly_to_the_right_of_downwind() -> None:
    # row 4: 1.36 % - 3.30 to the right, -0.13 % - 2.65 to the left, so at 10 m/s their mean is to the right;
    # wind from the north: right of downwind is west
    east, _ = drifted(Drifter.PERSON_SURVIVAL_SUIT).datum_m

    right, left = (13.6 - 3.30) / 100, (-1.3 - 2.65) / 100
    assert east == pytest.approx(-3600 * (right + left) / 2, rel=0.05)


def test_it_spreads_downwind_by_the_tables_standard_error_at_10_metres_a_second() -> None:
    # Breivik & Allen 2008: the spread equals the regression's standard error at W = 10 m/s; row 43, 2.5 cm/s
    north = drifted(particles=20_000).cloud_m[:, 1]

    assert north.std() == pytest.approx(0.025 * 3600, rel=0.03)


def test_it_sends_half_to_each_side() -> None:
    east = drifted(hours=0.1).cloud_m[:, 0]

    assert (east > 0).mean() == pytest.approx(0.5, abs=0.06)


def test_it_changes_sides_at_4_percent_an_hour() -> None:
    # random telegraph: E[x^2] = v^2 (2kt - 1 + exp(-2kt)) / (2 k^2), k = -ln(1 - 0.04) per hour;
    # v^2 from row 43 at 10 m/s: mean 5.6 cm/s, standard error 2.96 cm/s
    hours, k = 24.0, -np.log(0.96)
    east = drifted(hours=hours, particles=40_000).cloud_m[:, 0]

    speed_squared = (0.056**2 + 0.0296**2) * 3600**2
    expected = speed_squared * (2 * k * hours - 1 + np.exp(-2 * k * hours)) / (2 * k**2)
    assert (east**2).mean() == pytest.approx(expected, rel=0.03)


def test_it_adds_the_current() -> None:
    without, along = drifted(), drifted(current=Current(speed_ms=0.5, toward_deg=90))

    moved = np.subtract(along.datum_m, without.datum_m)
    assert moved == pytest.approx([1800, 0], abs=1e-6)


def test_it_says_when_no_current_was_entered() -> None:
    assert drifted().assumed == ("no current entered: taken as none",)


def test_it_follows_the_wind_as_it_turns() -> None:
    winds = [
        WindStep(start=START, minutes=60, wind10_ms=10, from_deg=0),
        WindStep(start=START + timedelta(hours=1), minutes=60, wind10_ms=10, from_deg=90),
    ]
    result = drift.drift(Drifter.BOARD, SEEN, winds, START + timedelta(hours=2), spread=SURE)

    assert result.datum_m == pytest.approx((-695, -695), abs=25)


def test_it_takes_the_wind_before_for_a_gap_and_says_so() -> None:
    winds = [*blowing(0, hours=1)]
    result = drift.drift(Drifter.BOARD, SEEN, winds, START + timedelta(hours=2), spread=SURE)

    assert result.datum_m[1] == pytest.approx(-2 * 695, abs=25)
    assert "no wind known for 60 min" in result.assumed[0]


@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95])
def test_it_holds_the_stated_share_of_the_cloud(confidence: float) -> None:
    result = drifted(hours=3, confidence=confidence)
    away = result.cloud_m - result.datum_m
    turn = np.radians(result.ellipse.bearing_deg)
    along = away @ [np.sin(turn), np.cos(turn)]
    across = away @ [np.cos(turn), -np.sin(turn)]
    inside = (along / result.ellipse.major_m) ** 2 + (across / result.ellipse.minor_m) ** 2 <= 1 + 1e-9

    assert (np.hypot(*away.T) <= result.radius_m).mean() == pytest.approx(confidence, abs=1e-3)
    assert inside.mean() == pytest.approx(confidence, abs=1e-3)


def test_it_lays_the_long_axis_across_the_wind_where_the_sides_part() -> None:
    assert drifted(from_deg=45, hours=4).ellipse.bearing_deg == pytest.approx(135, abs=5)


def test_it_gives_the_same_cloud_for_the_same_seed() -> None:
    assert np.array_equal(drifted(seed=7).cloud_m, drifted(seed=7).cloud_m)


def test_it_stays_at_the_last_sighting_when_no_time_has_passed() -> None:
    result = drifted(hours=0)

    assert (result.latitude_deg, result.longitude_deg) == pytest.approx((54.1, -3.2))


def test_it_moves_a_minute_of_latitude_for_a_nautical_mile() -> None:
    # 1 nautical mile (1852 m) is a minute of latitude at about 45 degrees, by its old definition
    latitude, _ = drift.offset_position(45.0, 0.0, 0.0, 1852.0)

    assert (latitude - 45) * 60 == pytest.approx(1, rel=1e-3)


def test_it_matches_the_length_of_a_degree_on_the_wgs_84_ellipsoid() -> None:
    # published lengths of a degree at 60 N: latitude 111.412 km, longitude 55.800 km (from memory)
    latitude, longitude = drift.offset_position(60.0, 10.0, 55_800, 111_412)

    assert (latitude - 60, longitude - 10) == pytest.approx((1, 1), rel=2e-4)


def test_it_crosses_the_date_line() -> None:
    _, longitude = drift.offset_position(0.0, 179.999, 1000, 0)

    assert -180 <= longitude < -179.99


@pytest.mark.parametrize(
    ("latitude", "longitude", "words"),
    [
        (54.1, -3.2, "54° 06.000' N 003° 12.000' W"),
        (-0.5, 179.99999999, "00° 30.000' S 180° 00.000' E"),
        (9.99999999, 0.0, "10° 00.000' N 000° 00.000' E"),
    ],
)
def test_it_says_a_place_in_degrees_and_minutes(latitude: float, longitude: float, words: str) -> None:
    assert drift.position_words(latitude, longitude) == words


def test_it_tells_the_rescue_service_first_then_where_and_how_sure() -> None:
    local = replace(SEEN, at=START.astimezone(ZoneInfo("Europe/London")))
    result = drift.drift(Drifter.BOARD, local, blowing(0), START + timedelta(hours=1))

    first, seen, where, *assumed = drift.sheet_lines([result])
    assert first.startswith("Call the rescue service first")
    assert "13:00 BST (04 Jul 12:00 UTC)" in seen
    assert "14:00 BST" in where
    assert "95% within" in where
    assert assumed == ["Assumed: no current entered: taken as none."]


def test_it_says_with_the_figures_that_the_rescue_service_comes_first() -> None:
    assert drift.CAUTION.startswith("Call the rescue service first")


@given(wind=st.floats(0, 40), stronger=st.floats(0, 20), drifter=st.sampled_from(Drifter))
def test_it_drifts_no_slower_downwind_in_more_wind(wind: float, stronger: float, drifter: Drifter) -> None:
    assert drift.leeway_ms(drifter, wind + stronger)[0] >= drift.leeway_ms(drifter, wind)[0]


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"latitude_deg": float("nan")}, "latitude_deg"),
        ({"latitude_deg": 89.0}, "latitude_deg"),
        ({"longitude_deg": 181.0}, "longitude_deg"),
        ({"radius_m": -1.0}, "radius_m"),
        ({"at": datetime(2026, 7, 4)}, "last known at"),  # noqa: DTZ001
        ({"at": START + timedelta(hours=2)}, "time since last seen"),
        ({"at": START - timedelta(hours=80)}, "time since last seen"),
    ],
)
def test_it_names_what_is_wrong_with_the_last_sighting(change: dict[str, object], name: str) -> None:
    seen = replace(SEEN, **change)  # type: ignore[arg-type]

    with pytest.raises(BadValue) as bad:
        drift.drift(Drifter.BOARD, seen, blowing(0), START + timedelta(hours=1))
    assert bad.value.name == name


def test_it_asks_for_at_least_one_wind() -> None:
    with pytest.raises(BadValue, match="winds is empty"):
        drift.drift(Drifter.BOARD, SEEN, [], START)


ODD = st.floats() | st.none() | st.text(max_size=3)


@given(wind=ODD, from_deg=ODD, current=ODD, confidence=ODD, particles=ODD)
def test_it_answers_or_names_the_bad_number(
    wind: object, from_deg: object, current: object, confidence: object, particles: object
) -> None:
    step = WindStep(start=START, minutes=60, wind10_ms=wind, from_deg=from_deg)  # type: ignore[arg-type]
    with pytest.raises(BadValue):
        drift.drift(
            Drifter.BOARD,
            SEEN,
            [step, *blowing(720)],
            START + timedelta(hours=1),
            current=Current(speed_ms=current, toward_deg=0),  # type: ignore[arg-type]
            confidence=confidence,  # type: ignore[arg-type]
            particles=particles,  # type: ignore[arg-type]
        )


@given(
    wind=st.floats(0, 60),
    from_deg=st.floats(0, 360),
    minutes=st.floats(0, 300),
    speed_ms=st.floats(0, 5),
    drifter=st.sampled_from(Drifter),
)
def test_it_never_gives_a_figure_that_is_no_number(
    wind: float, from_deg: float, minutes: float, speed_ms: float, drifter: Drifter
) -> None:
    step = WindStep(start=START, minutes=60, wind10_ms=wind, from_deg=from_deg)
    until = START + timedelta(minutes=minutes)
    current = Current(speed_ms=speed_ms, toward_deg=90)

    result = drift.drift(drifter, SEEN, [step], until, current=current, particles=100)

    figures = [*result.datum_m, result.latitude_deg, result.longitude_deg, result.radius_m]
    assert np.isfinite([*figures, result.ellipse.major_m, result.ellipse.minor_m]).all()


def test_it_refuses_what_the_table_does_not_hold() -> None:
    with pytest.raises(BadValue, match="drifter is kite"):
        drift.leeway_ms("kite", 10.0)  # type: ignore[arg-type]
