"""Which parts make a rig: the trade's worked figures, every misfit with its amount, and what is refused."""

import math
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigging import kit
from rigging.kit import BendCurve, Coupling, Diameter, FinBox, Head
from rigging.units import BadValue
from tests.rigging import strategies

SAIL = kit.Sail(
    name="Glasswort 5.4",
    area_m2=5.4,
    luff_cm=453,
    boom_cm=188,
    diameters=frozenset({Diameter.RDM, Diameter.SDM}),
    imcs=21,
)
MAST = kit.Mast(name="Reed 430", length_cm=430, diameter=Diameter.RDM, imcs=21)
EXTENSION = kit.Extension(name="Sedge", diameter=Diameter.RDM, min_cm=0, max_cm=36)
BOOM = kit.Boom(name="Rush", min_cm=160, max_cm=220, clamps=frozenset({Diameter.RDM}))
BASE = kit.Base(name="Tussock")


def fit(**parts: Any) -> kit.Fit:
    chosen: dict[str, Any] = {"sail": SAIL, "mast": MAST, "extension": EXTENSION, "boom": BOOM, "base": BASE}
    return kit.fit(**{**chosen, **parts})


def test_it_sets_24_cm_for_a_luff_of_453_on_a_430_mast() -> None:
    # common practice, no source: at least 23 cm, set on the next collar step
    assert fit().extension_cm == 24


def test_it_sets_a_boom_printed_188_a_little_longer_within_160_to_220() -> None:
    # common practice, no source: 1-2 cm longer than printed
    setting = fit().boom_cm

    assert setting is not None
    assert 189 <= setting <= 190


def test_it_raises_the_rig_about_10_cm_off_the_deck() -> None:
    # common practice, no source
    assert BASE.height_cm == 10


def test_it_finds_nothing_wrong_with_a_rig_that_fits() -> None:
    assert (fit().ok, fit().misfits, fit().warnings) == (True, (), ())


MISFITS = [
    pytest.param({"mast": replace(MAST, length_cm=400)}, "extension", 18, "cm", id="mast too short"),
    pytest.param({"mast": replace(MAST, length_cm=460)}, "mast", 7, "cm", id="mast too long, fixed head"),
    pytest.param(
        {"mast": replace(MAST, length_cm=460), "sail": replace(SAIL, head=Head.ADJUSTABLE, head_strap_cm=5)},
        "mast",
        2,
        "cm",
        id="mast longer than the strap gives",
    ),
    pytest.param({"extension": replace(EXTENSION, min_cm=26)}, "mast", 3, "cm", id="extension too long"),
    pytest.param({"extension": replace(EXTENSION, max_cm=23)}, "extension", 1, "cm", id="no step left"),
    pytest.param(
        {"extension": replace(EXTENSION, diameter=Diameter.SDM)}, "extension", 1, "class", id="collar"
    ),
    pytest.param(
        {"sail": replace(SAIL, diameters=frozenset({Diameter.SDM}))}, "mast", 1, "class", id="sleeve"
    ),
    pytest.param({"mast": replace(MAST, imcs=25)}, "mast", 2, "IMCS", id="too stiff"),
    pytest.param({"mast": replace(MAST, imcs=18)}, "mast", 1, "IMCS", id="too soft"),
    pytest.param({"boom": replace(BOOM, min_cm=190)}, "boom", 2, "cm", id="boom too long"),
    pytest.param({"boom": replace(BOOM, max_cm=180)}, "boom", 8, "cm", id="boom too short"),
    pytest.param({"boom": replace(BOOM, clamps=frozenset({Diameter.SDM}))}, "boom", 1, "class", id="no shim"),
    pytest.param({"base": replace(BASE, coupling=Coupling.CUP)}, "base", 1, "class", id="coupling"),
    pytest.param(
        {"sail": replace(SAIL, curve=BendCurve.FLEX_TOP), "mast": replace(MAST, curve=BendCurve.HARD_TOP)},
        "mast",
        1,
        "class",
        id="curve two apart",
    ),
]


@pytest.mark.parametrize(("parts", "part", "amount", "unit"), MISFITS)
def test_it_names_the_part_that_misses_and_by_how_much(
    parts: dict[str, Any], part: str, amount: float, unit: str
) -> None:
    found = fit(**parts)

    assert not found.ok
    assert [(m.part, m.unit) for m in found.misfits] == [(part, unit)]
    assert found.misfits[0].amount == pytest.approx(amount)


def test_it_names_every_misfit_at_once() -> None:
    found = fit(
        mast=replace(MAST, imcs=25), boom=replace(BOOM, max_cm=180), base=replace(BASE, coupling=Coupling.CUP)
    )

    assert [misfit.part for misfit in found.misfits] == ["mast", "boom", "base"]


def test_it_lets_an_adjustable_head_out_on_a_longer_mast() -> None:
    sail = replace(SAIL, head=Head.ADJUSTABLE, head_strap_cm=15)

    found = fit(sail=sail, mast=replace(MAST, length_cm=460))

    assert (found.ok, found.extension_cm, found.head_strap_cm) == (True, 0, 7)


def test_it_lets_the_head_out_to_its_very_end() -> None:
    sail = replace(SAIL, head=Head.ADJUSTABLE, head_strap_cm=7)

    assert fit(sail=sail, mast=replace(MAST, length_cm=460)).head_strap_cm == 7


def test_it_skips_no_step_for_the_sake_of_rounding() -> None:
    luff, mast = 512.2, 492.2

    assert luff - mast > 20  # by a hair that binary fractions add
    assert fit(sail=replace(SAIL, luff_cm=luff), mast=replace(MAST, length_cm=mast)).extension_cm == 20


def test_it_keeps_a_fixed_head_from_using_a_strap() -> None:
    sail = replace(SAIL, head=Head.FIXED, head_strap_cm=15)

    assert not fit(sail=sail, mast=replace(MAST, length_cm=460)).ok


def test_it_asks_for_the_shim_on_a_reduced_mast() -> None:
    shimmed = replace(BOOM, clamps=frozenset({Diameter.SDM}), shim=True)

    assert (fit(boom=shimmed).ok, fit(boom=shimmed).shim) == (True, True)


def test_it_asks_for_no_shim_that_is_not_there() -> None:
    assert not fit(boom=replace(BOOM, clamps=frozenset({Diameter.SDM}))).shim


def test_it_holds_no_standard_mast_in_a_reduced_clamp_shim_or_not() -> None:
    standard = {
        "mast": replace(MAST, diameter=Diameter.SDM),
        "extension": replace(EXTENSION, diameter=Diameter.SDM),
    }

    assert [misfit.part for misfit in fit(boom=replace(BOOM, shim=True), **standard).misfits] == ["boom"]


def test_it_has_nothing_to_set_on_cams_made_for_one_diameter() -> None:
    assert fit(sail=replace(SAIL, cams=2, diameters=frozenset({Diameter.RDM}))).warnings == ()


def test_it_asks_for_no_shim_on_a_standard_mast() -> None:
    shimmed = replace(BOOM, clamps=frozenset({Diameter.SDM}), shim=True)
    standard = {
        "mast": replace(MAST, diameter=Diameter.SDM),
        "extension": replace(EXTENSION, diameter=Diameter.SDM),
    }

    assert (fit(boom=shimmed, **standard).ok, fit(boom=shimmed, **standard).shim) == (True, False)


@pytest.mark.parametrize(
    ("parts", "words"),
    [
        pytest.param({"mast": replace(MAST, curve=BendCurve.FLEX_TOP)}, "flex top", id="curve one apart"),
        pytest.param(
            {"mast": replace(MAST, length_cm=415), "extension": replace(EXTENSION, max_cm=48)},
            "take a longer mast",
            id="much extension",
        ),
        pytest.param({"boom": replace(BOOM, max_cm=188)}, "full length", id="boom at its end"),
        pytest.param({"sail": replace(SAIL, cams=2)}, "2 cams for RDM", id="cams"),
    ],
)
def test_it_warns_and_still_fits(parts: dict[str, Any], words: str) -> None:
    found = fit(**parts)

    assert found.ok
    assert any(words in warning for warning in found.warnings)


@given(
    luff=st.integers(330, 540),
    mast=st.sampled_from([340, 370, 400, 430, 460, 490]),
    low=st.sampled_from([0, 4, 8]),
    step=st.sampled_from([1.0, 2.0, 2.5]),
)
def test_it_sets_the_first_collar_step_that_reaches_the_luff(
    luff: int, mast: int, low: int, step: float
) -> None:
    extension = replace(EXTENSION, min_cm=low, max_cm=46, step_cm=step)
    found = fit(sail=replace(SAIL, luff_cm=luff), mast=replace(MAST, length_cm=mast), extension=extension)

    if found.extension_cm is not None:
        assert 0 <= mast + found.extension_cm - luff < step
        assert math.remainder(found.extension_cm - low, step) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(
    ("part", "field"),
    [
        (SAIL, "luff_cm"),
        (SAIL, "area_m2"),
        (SAIL, "boom_cm"),
        (SAIL, "imcs"),
        (MAST, "length_cm"),
        (MAST, "imcs"),
        (BOOM, "min_cm"),
        (BOOM, "max_cm"),
        (EXTENSION, "max_cm"),
        (EXTENSION, "step_cm"),
        (BASE, "height_cm"),
    ],
    ids=lambda value: value if isinstance(value, str) else value.name,
)
@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0, 1e6, "wide", None], ids=repr)
def test_it_refuses_a_part_with_a_bad_number(part: Any, field: str, bad: Any) -> None:
    with pytest.raises(BadValue, match=field):
        replace(part, **{field: bad})


def test_it_refuses_a_luff_of_zero() -> None:
    with pytest.raises(BadValue, match=r"luff_cm is 0 cm; it must be between 100 and 700 cm"):
        replace(SAIL, luff_cm=0)


def test_it_refuses_a_sail_for_no_mast() -> None:
    with pytest.raises(BadValue, match="diameters"):
        replace(SAIL, diameters=frozenset())


BOARD = kit.Board(
    name="Samphire 115", volume_l=115, width_cm=68, sail_min_m2=4.5, sail_max_m2=7.5, fin_box=FinBox.POWER_BOX
)


@pytest.mark.parametrize(
    ("area", "box", "expected"),
    [
        pytest.param(5.4, FinBox.POWER_BOX, [], id="fits"),
        pytest.param(8.0, FinBox.POWER_BOX, [("sail", 0.5)], id="sail too large"),
        pytest.param(4.0, FinBox.TUTTLE, [("fin", 1), ("sail", 0.5)], id="both"),
    ],
)
def test_it_says_what_does_not_suit_a_board(area: float, box: FinBox, expected: list[object]) -> None:
    found = kit.board_fit(BOARD, kit.Fin(name="Thorn", length_cm=34, box=box), replace(SAIL, area_m2=area))

    assert [(misfit.part, misfit.amount) for misfit in found] == expected


def test_it_takes_the_stations_own_tolerance() -> None:
    stiff = replace(MAST, imcs=25, curve=BendCurve.FLEX_TOP)
    wide, narrow = kit.Tolerance(imcs=4), kit.Tolerance(imcs=4, curve_classes=0)

    assert fit(mast=stiff, tolerance=wide).ok
    assert [misfit.amount for misfit in fit(mast=stiff, tolerance=narrow).misfits] == [1]


def test_it_adds_the_stations_own_margin_to_the_boom() -> None:
    assert fit(tolerance=kit.Tolerance(boom_margin_cm=1)).boom_cm == 189


@pytest.mark.parametrize("field", ["imcs", "curve_classes", "boom_margin_cm"])
def test_it_refuses_a_tolerance_without_sense(field: str) -> None:
    with pytest.raises(BadValue, match=field):
        kit.Tolerance(**{field: math.nan})  # type: ignore[arg-type]


def test_it_refuses_a_strong_setting_below_the_light_one() -> None:
    with pytest.raises(BadValue, match="downhaul_strong_cm"):
        replace(SAIL, downhaul_light_cm=2, downhaul_strong_cm=1)


def test_it_refuses_a_cut_out_upside_down() -> None:
    with pytest.raises(BadValue, match="cutout_high_cm"):
        replace(SAIL, cutout_low_cm=150, cutout_high_cm=110)


@pytest.mark.parametrize("field", ["battens", "cams"])
def test_it_refuses_half_a_batten(field: str) -> None:
    with pytest.raises(BadValue, match=f"{field} is 2.5 {field}; it must be a whole number"):
        replace(SAIL, **{field: 2.5})  # type: ignore[arg-type]


def test_it_keeps_numbers_from_a_database_as_plain_ones() -> None:
    sail = replace(SAIL, luff_cm=Decimal("453.0"), battens=5.0)  # type: ignore[arg-type]

    assert (type(sail.luff_cm), type(sail.battens)) == (float, int)
    assert sail == SAIL


@given(
    sail=strategies.sails(),
    mast=strategies.masts(),
    extension=strategies.extensions(),
    boom=strategies.booms(),
    base=strategies.bases(),
)
def test_it_judges_any_parts_with_amounts_above_nothing(
    sail: kit.Sail, mast: kit.Mast, extension: kit.Extension, boom: kit.Boom, base: kit.Base
) -> None:
    found = kit.fit(sail, mast, extension, boom, base)

    assert found.ok is (found.misfits == ())
    assert all(misfit.amount > 0 for misfit in found.misfits)
    if found.extension_cm is not None:
        assert extension.min_cm <= found.extension_cm <= extension.max_cm + 1e-6
    if found.boom_cm is not None:
        assert boom.min_cm <= found.boom_cm <= boom.max_cm
    assert 0 <= found.head_strap_cm <= sail.head_strap_cm
