"""Which parts make a rig: the patterns of mast, extension and boom that carry each sail."""

from dataclasses import dataclass

from rigging.allot.problem import Problem
from rigging.kit import Base, Boom, Extension, Mast, Sail, fit


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

    def with_boom(self, boom: int) -> "Pattern":
        """The rig with a boom."""
        return Pattern(self.sail, self.mast, self.extension, boom)


def patterns(problem: Problem) -> tuple[Pattern, ...]:
    """Every rig the shed's stocks can make, sail by sail."""
    out: list[Pattern] = []
    masts = [m for m, stock in enumerate(problem.masts) if stock.units]
    extensions = [x for x, stock in enumerate(problem.extensions) if stock.units]
    booms = [b for b, stock in enumerate(problem.booms) if stock.units]
    if not (extensions and booms):
        return ()
    for k, sail in enumerate(problem.sails):
        for m in masts if sail.units else ():
            spars = (sail.spec, problem.masts[m].spec)
            suited = [
                x
                for x in extensions
                if stands(*spars, problem.extensions[x].spec, problem.booms[booms[0]].spec)
            ]
            held = [
                b
                for b in booms
                if suited and holds(*spars, problem.extensions[0].spec, problem.booms[b].spec)
            ]
            out += [Pattern(k, m, x, b) for x in suited for b in held]
    return tuple(out)


def stands(sail: Sail, mast: Mast, extension: Extension, boom: Boom) -> bool:
    """Whether the mast and the extension suit the sail, whatever the boom."""
    if mast.diameter not in sail.diameters or extension.diameter is not mast.diameter:
        return False
    return not _missed(sail, mast, extension, boom) - {"boom"}


def holds(sail: Sail, mast: Mast, extension: Extension, boom: Boom) -> bool:
    """Whether the boom spans the sail and its clamp holds the mast, whatever the extension."""
    return "boom" not in _missed(sail, mast, extension, boom)


def _missed(sail: Sail, mast: Mast, extension: Extension, boom: Boom) -> set[str]:
    """Parts that don't fit; mast bases are plenty, so one that couples is taken for granted."""
    base = Base(name="any", coupling=extension.coupling)
    return {misfit.part for misfit in fit(sail, mast, extension, boom, base).misfits}
