"""Choosing the parts of a rig from what is free."""

from hypothesis import given
from hypothesis import strategies as st

from rigging.kit import Base, BendCurve, Boom, Coupling, Diameter, Extension, Mast, Sail, fit
from rigging.parts import best_parts

BOTH = frozenset(Diameter)
SAIL = Sail(name="5.3", area_m2=5.3, luff_cm=430, boom_cm=178, diameters=BOTH, imcs=19)
BASE = Base(name="base")
BOOM = Boom(name="160-220", min_cm=160, max_cm=220, clamps=BOTH)
RDM_COLLAR = Extension(name="rdm", diameter=Diameter.RDM, min_cm=4, max_cm=36)
SDM_COLLAR = Extension(name="sdm", diameter=Diameter.SDM, min_cm=4, max_cm=46)


def mast(length_cm: float, imcs: float, diameter: Diameter = Diameter.RDM, **more: BendCurve) -> Mast:
    return Mast(name=f"{length_cm:g} {diameter}", length_cm=length_cm, diameter=diameter, imcs=imcs, **more)


def test_it_takes_the_mast_of_nearest_stiffness() -> None:
    chosen = best_parts(SAIL, [mast(430, 21), mast(400, 19)], [RDM_COLLAR], [BOOM], [BASE])

    assert chosen is not None
    assert chosen.mast.length_cm == 400
    assert chosen.fit.extension_cm == 30


def test_it_prefers_the_bend_curve_of_the_sail_to_equal_stiffness() -> None:
    flex = mast(400, 19, curve=BendCurve.FLEX_TOP)
    constant = mast(410, 20)

    chosen = best_parts(SAIL, [flex, constant], [RDM_COLLAR], [BOOM], [BASE])

    assert chosen is not None
    assert chosen.mast is constant


def test_it_leaves_the_long_boom_for_larger_sails() -> None:
    long_boom = Boom(name="170-240", min_cm=170, max_cm=240, clamps=BOTH)

    chosen = best_parts(SAIL, [mast(400, 19)], [RDM_COLLAR], [long_boom, BOOM], [BASE])

    assert chosen is not None
    assert chosen.boom is BOOM


def test_it_pairs_each_mast_with_a_collar_of_its_own_diameter() -> None:
    chosen = best_parts(SAIL, [mast(400, 19, Diameter.SDM)], [RDM_COLLAR, SDM_COLLAR], [BOOM], [BASE])

    assert chosen is not None
    assert chosen.extension is SDM_COLLAR


def test_it_finds_nothing_when_no_collar_meets_the_base() -> None:
    cup = Base(name="cup base", coupling=Coupling.CUP)

    assert best_parts(SAIL, [mast(400, 19)], [RDM_COLLAR], [BOOM], [cup]) is None


def test_it_says_which_numbers_decided() -> None:
    chosen = best_parts(SAIL, [mast(400, 19)], [RDM_COLLAR], [BOOM], [BASE])

    assert chosen is not None
    assert "400 cm RDM" in chosen.reason.text
    assert "30 cm of extension" in chosen.reason.text


masts = st.builds(
    mast,
    st.sampled_from([340.0, 370.0, 400.0, 430.0, 460.0, 490.0]),
    st.sampled_from([15.0, 17.0, 19.0, 21.0, 25.0, 28.0]),
    st.sampled_from(Diameter),
)
collars = st.sampled_from([RDM_COLLAR, SDM_COLLAR])


@given(st.lists(masts, max_size=5), st.lists(collars, max_size=3), st.floats(380, 500))
def test_it_finds_a_rig_exactly_when_one_exists(
    shed: list[Mast], extensions: list[Extension], luff_cm: float
) -> None:
    sail = Sail(name="any", area_m2=5.3, luff_cm=luff_cm, boom_cm=178, diameters=BOTH, imcs=20)

    chosen = best_parts(sail, shed, extensions, [BOOM], [BASE])

    exists = any(fit(sail, m, e, BOOM, BASE).ok for m in shed for e in extensions)
    assert (chosen is not None) == exists
    assert chosen is None or chosen.fit.ok
