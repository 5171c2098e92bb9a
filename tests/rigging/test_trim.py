"""Settings of a rig: the trade's worked figures, geometry, body proportions, and reasons for each number."""

import contextlib
import math
import pickle
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging import trim
from rigging.kit import Base, BendCurve, Board, Boom, Diameter, Extension, FinBox, Head, Mast, Sail
from rigging.sizing import Level, Rider, Window, wind_window
from rigging.trim import Band, DoesNotFit, settings, steps, window_position
from rigging.units import BadValue, from_knots
from tests.rigging import strategies
from tests.rigging.strategies import riders, winds_ms

SAIL = Sail(
    name="Glasswort 5.4",
    area_m2=5.4,
    luff_cm=453,
    boom_cm=188,
    diameters=frozenset({Diameter.RDM, Diameter.SDM}),
    imcs=21,
    clew_height_cm=105,
    cutout_low_cm=112,
    cutout_high_cm=156,
)
MAST = Mast(name="Reed 430", length_cm=430, diameter=Diameter.RDM, imcs=21)
BOOM = Boom(name="Rush", min_cm=160, max_cm=220, clamps=frozenset({Diameter.RDM}))
EXTENSION = Extension(name="Sedge", diameter=Diameter.RDM, min_cm=0, max_cm=36)
BASE = Base(name="Tussock")
RIDER = Rider(mass_kg=75, stature_m=1.75, level=Level.ADVANCED)


def sheet(
    *,
    sail: Sail = SAIL,
    mast: Mast = MAST,
    boom: Boom = BOOM,
    base: Base = BASE,
    rider: Rider = RIDER,
    kn: float = 19,
    window: Window[float] | None = None,
) -> trim.Settings:
    return settings(sail, mast, boom, EXTENSION, base, rider, from_knots(kn), window)


def test_it_sets_the_extension_to_24_for_luff_453_on_a_430_mast() -> None:
    # common practice, no source
    assert (sheet().extension.value, sheet().extension.unit) == (24, "cm")
    assert "453 cm less mast 430 cm is 23 cm" in sheet().extension.reason.text


def test_it_lets_the_head_out_on_a_longer_mast() -> None:
    sail = replace(SAIL, head=Head.ADJUSTABLE, head_strap_cm=12)

    found = sheet(sail=sail, mast=replace(MAST, length_cm=460))

    assert (found.head_strap.value, found.extension.value) == (7, 0)


def test_it_sets_a_boom_a_little_longer_than_printed() -> None:
    # common practice, no source: 188 printed is set 1-2 cm longer, with the boom mid cut-out
    assert 189 <= sheet().boom_length.value <= 190


@pytest.mark.parametrize("by_cm", [10, -10])
def test_it_finds_the_boom_length_from_the_clews_geometry(by_cm: float) -> None:
    # Pythagoras: clew at distance a behind the mast and 105 cm up, boom printed for 134 cm up
    radius = trim.MAST_RADIUS_CM[Diameter.RDM]
    across = math.sqrt((188 - radius) ** 2 - (134 - 105) ** 2)

    assert trim.clew_boom_cm(SAIL, MAST, 134) == pytest.approx(188)
    assert trim.clew_boom_cm(SAIL, MAST, 134 + by_cm) == pytest.approx(
        radius + math.sqrt(across**2 + (29 + by_cm) ** 2)
    )


@given(height=st.floats(106, 170), more=st.floats(0.5, 20))
def test_it_needs_a_longer_boom_when_the_boom_goes_up(height: float, more: float) -> None:
    # common practice, no source: raise the boom, and the length must grow
    assert trim.clew_boom_cm(SAIL, MAST, height + more) > trim.clew_boom_cm(SAIL, MAST, height)


def test_it_sets_a_longer_boom_for_a_taller_rider() -> None:
    tall = sheet(rider=replace(RIDER, stature_m=2.05))

    clew = trim.clew_boom_cm(SAIL, MAST, tall.boom_height.value)
    assert tall.boom_length.value == pytest.approx(clew + 2, abs=0.5)
    assert tall.boom_length.value > sheet().boom_length.value


def test_it_gives_no_lines_without_a_harness() -> None:
    assert sheet(rider=replace(RIDER, harness=False)).harness_line is None


def test_it_keeps_the_printed_length_where_the_clew_is_unknown() -> None:
    assert trim.clew_boom_cm(replace(SAIL, clew_height_cm=None), MAST, 150) == 188


@pytest.mark.parametrize(
    ("stature_m", "base_cm", "height_cm"),
    [
        # Drillis & Contini, in Winter 2009 fig. 4.1: shoulder at 0.818 of stature
        pytest.param(1.75, 10, 133, id="175 cm"),
        pytest.param(1.60, 10, 121, id="160 cm"),
        pytest.param(1.75, 14, 129, id="higher base"),
        pytest.param(1.30, 10, 112, id="short rider: low end of the cut-out"),
        pytest.param(2.10, 10, 156, id="tall rider: high end of the cut-out"),
    ],
)
def test_it_puts_the_boom_at_shoulder_height(stature_m: float, base_cm: float, height_cm: float) -> None:
    rider = replace(RIDER, stature_m=stature_m)

    assert sheet(rider=rider, base=replace(BASE, height_cm=base_cm)).boom_height.value == height_cm


def test_it_says_when_the_cut_out_decides() -> None:
    assert "outside the cut-out" in sheet(rider=replace(RIDER, stature_m=1.30)).boom_height.reason.text


def test_it_says_when_the_stature_was_not_measured() -> None:
    assert "not measured" in sheet(rider=replace(RIDER, stature_m=None)).boom_height.reason.text


@pytest.mark.parametrize(("stature_m", "line_cm"), [(1.756, 70), (1.6285, 64)])
def test_it_cuts_lines_to_twice_the_elbow_to_grip_length(stature_m: float, line_cm: float) -> None:
    # ANSUR II (2012): elbow to centre of grip 34.9 cm of men of 175.6, 31.8 cm of women of 162.9
    found = sheet(rider=replace(RIDER, stature_m=stature_m)).line_length

    assert found is not None
    assert found.value == pytest.approx(line_cm, abs=1)


@pytest.mark.parametrize("level", [Level.TASTER, Level.BEGINNER])
def test_it_gives_no_lines_to_those_who_do_not_hook_in(level: Level) -> None:
    found = sheet(rider=replace(RIDER, level=level))

    assert (found.harness_line, found.line_length) == (None, None)
    assert None not in found.numbers


@pytest.mark.parametrize(
    ("band", "downhaul", "outhaul", "batten"),
    [
        # common practice, no source: outhaul neutral, 1-2 cm, more; leech to batten 1, 2, 3
        (Band.LIGHT, 0.0, 0.0, 1),
        (Band.MIDDLE, 1.5, 1.5, 2),
        (Band.STRONG, 3.0, 3.0, 3),
    ],
)
def test_it_tells_the_three_ends_of_the_window(
    band: Band, downhaul: float, outhaul: float, batten: int
) -> None:
    found = next(one for one in sheet().tunings if one.band is band)

    assert (found.downhaul_cm, found.outhaul_cm, found.leech_batten) == (downhaul, outhaul, batten)
    assert f"batten {batten}" in " ".join(found.look_for)


def test_it_keeps_between_the_sails_own_light_and_strong_settings() -> None:
    sail = replace(SAIL, downhaul_light_cm=1, downhaul_strong_cm=5, outhaul_light_cm=-1, outhaul_strong_cm=2)
    calm, storm = sheet(sail=sail, kn=4), sheet(sail=sail, kn=40)

    assert (calm.downhaul.value, calm.outhaul.value) == (1, -1)
    assert (storm.downhaul.value, storm.outhaul.value) == (5, 2)


@given(low=winds_ms(1, 20), more=st.floats(0, 10), rider=riders())
def test_it_never_slackens_when_the_wind_rises(low: float, more: float, rider: Rider) -> None:
    weak, strong = (settings(SAIL, MAST, BOOM, EXTENSION, BASE, rider, wind) for wind in (low, low + more))

    assert weak.downhaul.value <= strong.downhaul.value
    assert weak.outhaul.value <= strong.outhaul.value
    assert 0 <= weak.position <= strong.position <= 1


def test_it_places_the_wind_in_the_window_on_a_log_scale() -> None:
    window = Window(4.0, 6.0, 9.0)

    assert [window_position(wind, window) for wind in (3.0, 4.0, 6.0, 9.0, 12.0)] == pytest.approx(
        [0, 0, 0.5, 1, 1]
    )


@pytest.mark.parametrize(
    ("position", "band"),
    [
        (0.0, Band.LIGHT),
        (0.3, Band.LIGHT),
        (0.4, Band.MIDDLE),
        (0.6, Band.MIDDLE),
        (0.7, Band.STRONG),
        (1.0, Band.STRONG),
    ],
)
def test_it_calls_each_third_of_the_window_by_name(position: float, band: Band) -> None:
    window = Window(5.0, 7.0, 10.0)
    found = settings(SAIL, MAST, BOOM, EXTENSION, BASE, RIDER, 5.0 * 2**position, window)

    assert found.position == pytest.approx(position)
    assert found.band is band
    assert found.look_for == next(one for one in found.tunings if one.band is band).look_for


@given(wind=winds_ms(1, 30))
def test_it_pulls_by_half_centimetres(wind: float) -> None:
    found = settings(SAIL, MAST, BOOM, EXTENSION, BASE, RIDER, wind)

    assert (2 * found.downhaul.value).is_integer()
    assert (2 * found.outhaul.value).is_integer()


def test_it_computes_the_window_when_none_is_given() -> None:
    window = wind_window(SAIL.area_m2, RIDER.mass_kg, RIDER.stature_m, RIDER.level)

    assert sheet(window=window) == sheet()


@pytest.mark.parametrize(("kn", "words"), [(9, "under this sail's window"), (32, "take a smaller sail")])
def test_it_warns_outside_the_window(kn: float, words: str) -> None:
    assert any(words in warning for warning in sheet(kn=kn).warnings)


def test_it_passes_on_the_warnings_of_the_fit() -> None:
    assert any(
        "flex top" in warning for warning in sheet(mast=replace(MAST, curve=BendCurve.FLEX_TOP)).warnings
    )


def test_it_warns_when_the_boom_cannot_reach_the_clew() -> None:
    tall, short = replace(RIDER, stature_m=2.0), replace(BOOM, max_cm=189)

    found = sheet(rider=tall, boom=short)

    assert found.boom_length.value == 189
    assert any("lower it" in warning for warning in found.warnings)


def test_it_counts_leech_battens_within_the_sail() -> None:
    assert [one.leech_batten for one in sheet(sail=replace(SAIL, battens=3)).tunings] == [1, 1, 1]


def test_it_looks_at_cams_where_there_are_some() -> None:
    assert "2 cams" in " ".join(sheet(sail=replace(SAIL, cams=2)).look_for)


@given(
    sail=strategies.sails(),
    rider=riders(),
    wind=winds_ms(0, 60),
    base=strategies.bases(),
    slack=st.floats(0, 30),
)
def test_it_gives_every_number_a_tolerance_a_reason_and_a_source(
    sail: Sail, rider: Rider, wind: float, base: Base, slack: float
) -> None:
    diameter = min(sail.diameters)
    mast = Mast(
        name="Reed", length_cm=sail.luff_cm - slack, diameter=diameter, imcs=sail.imcs, curve=sail.curve
    )
    extension = Extension(name="Sedge", diameter=diameter, min_cm=0, max_cm=40, coupling=base.coupling)
    boom = Boom(name="Rush", min_cm=sail.boom_cm - 10, max_cm=sail.boom_cm + 40, clamps=frozenset({diameter}))

    found = settings(sail, mast, boom, extension, base, rider, wind)

    for setting in found.numbers:
        assert math.isfinite(setting.value)
        assert setting.tolerance > 0
        assert setting.reason.text.endswith(".")
        assert setting.reason.source
    assert boom.min_cm <= found.boom_length.value <= boom.max_cm


@given(
    sail=strategies.sails(),
    mast=strategies.masts(),
    boom=strategies.booms(),
    extension=strategies.extensions(),
    base=strategies.bases(),
    rider=riders(),
    wind=st.floats(),
)
def test_it_refuses_any_parts_or_answers(
    sail: Sail, mast: Mast, boom: Boom, extension: Extension, base: Base, rider: Rider, wind: float
) -> None:
    with contextlib.suppress(BadValue):
        assert all(
            math.isfinite(n.value) for n in settings(sail, mast, boom, extension, base, rider, wind).numbers
        )


def test_it_tells_the_boom_height_over_the_ground_beside_a_board() -> None:
    board = Board(
        name="Samphire",
        volume_l=115,
        width_cm=68,
        sail_min_m2=4.5,
        sail_max_m2=7.5,
        fin_box=FinBox.POWER_BOX,
        deck_cm=12,
    )

    found = settings(SAIL, MAST, BOOM, EXTENSION, BASE, RIDER, 10.0, board=board).boom_height

    # 133 over the tack, 10 of base, 12 of board
    assert "on the ground that is at 155 cm" in found.reason.text


def test_it_travels_between_processes_with_its_misfits() -> None:
    with pytest.raises(DoesNotFit) as caught:
        sheet(mast=replace(MAST, length_cm=400))

    travelled = pickle.loads(pickle.dumps(caught.value))  # noqa: S301 - our own bytes

    assert (str(travelled), travelled.misfits) == (str(caught.value), caught.value.misfits)


def test_it_refuses_parts_that_make_no_rig() -> None:
    with pytest.raises(DoesNotFit, match="this one ends at 36 cm") as caught:
        sheet(mast=replace(MAST, length_cm=400))

    assert [misfit.part for misfit in caught.value.misfits] == ["extension"]


@pytest.mark.parametrize("wind", [math.nan, -1.0, 61.0, math.inf])
def test_it_refuses_a_wind_out_of_range(wind: float) -> None:
    with pytest.raises(BadValue, match="beach_ms"):
        settings(SAIL, MAST, BOOM, EXTENSION, BASE, RIDER, wind)


def test_it_pulls_the_downhaul_before_the_outhaul() -> None:
    order = " ".join(steps())

    assert order.index("Pull the downhaul") < order.index("Pull the outhaul")


def test_it_adds_batten_tension_to_a_first_rigging() -> None:
    added = set(steps(first_time=True)) - set(steps())

    assert len(added) == 2
    assert any("creases" in step for step in added)
    assert steps(first_time=True)[-1] == steps()[-1]
