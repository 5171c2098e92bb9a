"""Which parts make a rig: the patterns of mast, extension and boom that carry each sail."""

from dataclasses import dataclass
from math import ceil
from typing import Final

from rigging.allot.problem import Problem
from rigging.kit import BendCurve, Boom, Diameter, Extension, Head, Mast, Sail


@dataclass(frozen=True, slots=True)
class Pattern:
    """A rig by the indices of its stocks; the boom is -1 where it is chosen apart."""

    sail: int
    mast: int
    extension: int
    boom: int

    def bare(self) -> "Pattern":
        """The rig without its boom."""
        return Pattern(self.sail, self.mast, self.extension, -1)


def patterns(problem: Problem) -> tuple[Pattern, ...]:
    """Every rig the shed's stocks can make, sail by sail."""
    out: list[Pattern] = []
    for s, sail in enumerate(problem.sails):
        booms = [b for b, boom in enumerate(problem.booms) if boom.units]
        for m, mast in enumerate(problem.masts):
            if not (sail.units and mast.units):
                continue
            held = [b for b in booms if holds(sail.spec, mast.spec, problem.booms[b].spec)]
            for x, extension in enumerate(problem.extensions):
                if held and extension.units and stands(sail.spec, mast.spec, extension.spec):
                    out += [Pattern(s, m, x, b) for b in held]
    return tuple(out)


IMCS_APART: Final = 2.0
"""Furthest that a mast's stiffness index may be from the sail's. Status: policy (common practice, no source)."""

_CURVES: Final = tuple(BendCurve)


def stands(sail: Sail, mast: Mast, extension: Extension) -> bool:
    """Whether the mast and the extension fill the luff of the sail on one of the collar's steps."""
    bends = abs(_CURVES.index(sail.curve) - _CURVES.index(mast.curve)) <= 1
    stiff = abs(sail.imcs - mast.imcs) <= IMCS_APART
    through = mast.diameter in sail.diameters and extension.diameter == mast.diameter
    return bends and stiff and through and _fills(sail, mast, extension)


def _fills(sail: Sail, mast: Mast, extension: Extension) -> bool:
    needed_cm = sail.luff_cm - mast.length_cm
    strap_cm = sail.head_strap_cm if sail.head is Head.ADJUSTABLE else 0.0
    steps = max(0, ceil((needed_cm - extension.min_cm) / extension.step_cm))
    set_cm = extension.min_cm + steps * extension.step_cm
    return set_cm <= extension.max_cm and needed_cm + strap_cm >= extension.min_cm


def holds(sail: Sail, mast: Mast, boom: Boom) -> bool:
    """Whether the boom spans the sail and its clamp holds the mast."""
    clamped = mast.diameter in boom.clamps or (mast.diameter is Diameter.RDM and boom.shim)
    return clamped and boom.min_cm <= sail.boom_cm <= boom.max_cm
