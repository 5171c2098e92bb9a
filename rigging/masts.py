"""Masts on the bench: stiffness index and bend curve from a three-point bend test."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from rigging.kit import BendCurve
from rigging.reason import COMMON_PRACTICE, FROM_MEMORY, Input, Reason
from rigging.units import BadValue, in_range

# -- constants: value, unit, source, status ---------------------------------------------------------
GRAVITY: Final = 9.80665  # m/s2; standard gravity, CGPM 1901; published
TEST_LOAD_KG: Final = 30.0  # kg hung at mid-length; common practice
INDEX_LENGTH_CM: Final = 460.0  # cm that the index is normalised to; from memory, unverified
SOFT_BELOW: Final = 10.0  # %; below it the top is hard; from memory, bands vary by source
FLEX_FROM: Final = 18.0  # %; from here the top is flexible; from memory, bands vary by source
USUAL_IMCS: Final[Mapping[int, float]] = MappingProxyType(
    {340: 15, 370: 17, 400: 19, 430: 21, 460: 25, 490: 28, 520: 32}
)
"""Usual index by length in cm; from memory."""


@dataclass(frozen=True, slots=True)
class BenchTest:
    """What a bend test shows: index, curve [%] and its class, flexural rigidity [N m2], reasons."""

    imcs: float
    curve_percent: float
    curve: BendCurve
    rigidity_nm2: float
    reasons: tuple[Reason, ...]


def stiffness_index(length_cm: float, mid_deflection_cm: float) -> float:
    """Return the stiffness index (L/d)(L/460)^2 of a mast under 30 kg at mid-length.

    Args:
        length_cm: between supports, 150-600 [cm].
        mid_deflection_cm: 1-100 [cm].

    Raises:
        BadValue: for numbers outside those ranges.

    Notes:
        By beam theory the index is 48 EI / (P 460^2): it doesn't depend on the length. The constant 460
        is from memory; another form in circulation differs by a factor, so keep the deflection too.
    """
    length = in_range("length_cm", length_cm, "cm", 150, 600)
    deflection = in_range("mid_deflection_cm", mid_deflection_cm, "cm", 1, 100)
    return length / deflection * (length / INDEX_LENGTH_CM) ** 2


def bend_curve(base_quarter_cm: float, mid_cm: float, top_quarter_cm: float) -> float:
    """Return the bend curve [%]: the top quarter's deflection less the base quarter's, over the middle's.

    A uniform tube has 0; a higher number bends more in its top.

    Raises:
        BadValue: for deflections of the quarters outside 0.3-1 of the middle's, which no mast shows.
    """
    middle = in_range("mid_cm", mid_cm, "cm", 1, 100)
    base = in_range("base_quarter_cm", base_quarter_cm, "cm", 0.3 * middle, middle)
    top = in_range("top_quarter_cm", top_quarter_cm, "cm", 0.3 * middle, middle)
    return 100 * (top - base) / middle


def curve_class(percent: float, soft_below: float = SOFT_BELOW, flex_from: float = FLEX_FROM) -> BendCurve:
    """Return the class of a bend curve [%]; the bands are from memory and a station's setting."""
    curve = in_range("percent", percent, "%", -70, 70)
    if not soft_below < flex_from:
        raise BadValue("soft_below", soft_below, "%", f"below {flex_from:g}")
    if curve < soft_below:
        return BendCurve.HARD_TOP
    return BendCurve.FLEX_TOP if curve >= flex_from else BendCurve.CONSTANT


def rigidity_nm2(length_cm: float, mid_deflection_cm: float) -> float:
    """Return EI [N m2] of the equivalent uniform tube, P L^3 / (48 d); raises BadValue."""
    length_m = in_range("length_cm", length_cm, "cm", 150, 600) / 100
    deflection_m = in_range("mid_deflection_cm", mid_deflection_cm, "cm", 1, 100) / 100
    return TEST_LOAD_KG * GRAVITY * length_m**3 / (48 * deflection_m)


def bench_test(
    length_cm: float,
    base_quarter_cm: float,
    mid_cm: float,
    top_quarter_cm: float,
    *,
    soft_below: float = SOFT_BELOW,
    flex_from: float = FLEX_FROM,
) -> BenchTest:
    """Return what a bend test under 30 kg at mid-length shows, from the deflections at 1/4, 1/2, 3/4.

    Args:
        length_cm: between supports, 150-600 [cm].
        base_quarter_cm, mid_cm, top_quarter_cm: deflections from base to top [cm].
        soft_below, flex_from: the station's bands of the bend curve [%].

    Raises:
        BadValue: for numbers that no mast shows.
    """
    index = stiffness_index(length_cm, mid_cm)
    percent = bend_curve(base_quarter_cm, mid_cm, top_quarter_cm)
    kind = curve_class(percent, soft_below, flex_from)
    index_text = (
        f"A {length_cm:g} cm mast that sags {mid_cm:g} cm under {TEST_LOAD_KG:g} kg has index {index:.1f}."
    )
    curve_text = (
        f"Its top quarter sags {top_quarter_cm:g} cm and its base quarter {base_quarter_cm:g} cm, "
        f"{percent:.1f} % of the middle apart: {kind.replace('_', ' ')}."
    )
    inputs = (Input("length", length_cm, "cm"), Input("deflection", mid_cm, "cm"))
    quarters = (Input("base quarter", base_quarter_cm, "cm"), Input("top quarter", top_quarter_cm, "cm"))
    return BenchTest(
        imcs=index,
        curve_percent=percent,
        curve=kind,
        rigidity_nm2=rigidity_nm2(length_cm, mid_cm),
        reasons=(
            Reason(index_text, "(L/d)(L/460)²", f"{COMMON_PRACTICE}; constant {FROM_MEMORY}", inputs),
            Reason(curve_text, "100 (d¾ - d¼) / d½", f"{COMMON_PRACTICE}; bands {FROM_MEMORY}", quarters),
        ),
    )
