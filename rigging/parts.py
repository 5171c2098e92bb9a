"""Which free parts make the best rig for a sail, leaving scarce masts to the sails that need them."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from rigging.kit import Base, Boom, Extension, Fit, Mast, Sail, fit
from rigging.reason import COMMON_PRACTICE, Input, Reason


@dataclass(frozen=True, slots=True)
class Parts:
    """The parts chosen for a sail, how they fit, and why these."""

    mast: Mast
    extension: Extension
    boom: Boom
    base: Base
    fit: Fit
    reason: Reason


def best_parts(
    sail: Sail,
    masts: Sequence[Mast],
    extensions: Sequence[Extension],
    booms: Sequence[Boom],
    bases: Sequence[Base],
) -> Parts | None:
    """Return the parts that fit a sail best, or None when no combination fits.

    Args:
        sail: what is rigged.
        masts, extensions, booms, bases: what is free; twins may be given once.

    Raises:
        BadValue: never by itself; the parts were checked when they were made.

    Notes:
        Order of preference (common practice, no source): bend curve as the sail's, stiffness nearest to the
        sail's, shortest extension, then the boom with the least length to spare, so that long masts and booms
        stay for larger sails.
    """
    for mast, extension in sorted(product(masts, extensions), key=lambda pair: _spar_cost(sail, *pair)):
        for boom, base in product(sorted(booms, key=_boom_cost), bases):
            found = fit(sail, mast, extension, boom, base)
            if found.ok:
                return Parts(mast, extension, boom, base, found, _reason(sail, mast, found))
            if any(misfit.part in ("mast", "extension") for misfit in found.misfits):
                break
    return None


def _spar_cost(sail: Sail, mast: Mast, extension: Extension) -> tuple[bool, float, float, float, str, str]:
    return (
        mast.curve is not sail.curve,
        abs(mast.imcs - sail.imcs),
        abs(sail.luff_cm - mast.length_cm),
        extension.max_cm,
        mast.name,
        extension.name,
    )


def _boom_cost(boom: Boom) -> tuple[float, str]:
    return boom.max_cm, boom.name


def _reason(sail: Sail, mast: Mast, found: Fit) -> Reason:
    words = (
        f"Mast {mast.length_cm:g} cm {mast.diameter} of index {mast.imcs:g} is nearest to the sail's "
        f"{sail.imcs:g} among those free; luff {sail.luff_cm:g} cm asks for "
        f"{max(sail.luff_cm - mast.length_cm, 0):g} cm of extension."
    )
    return Reason(
        text=" ".join([words, *found.warnings]),
        rule="bend curve, then stiffness, then the shortest extension, then the shortest boom that fits",
        source=COMMON_PRACTICE,
        inputs=(
            Input("luff", sail.luff_cm, "cm"),
            Input("mast", mast.length_cm, "cm"),
            Input("mast index", mast.imcs),
            Input("sail index", sail.imcs),
        ),
    )
