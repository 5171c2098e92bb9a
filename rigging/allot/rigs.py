"""Which parts make a rig: the patterns of mast, extension and boom that carry each sail."""

from dataclasses import dataclass
from functools import lru_cache

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
    sails = tuple(k for k, stock in enumerate(problem.sails) if stock.units)
    masts = tuple(m for m, stock in enumerate(problem.masts) if stock.units)
    extensions = tuple(x for x, stock in enumerate(problem.extensions) if stock.units)
    booms = tuple(b for b, stock in enumerate(problem.booms) if stock.units)
    fitting = _fitting(
        tuple(problem.sails[k].spec for k in sails),
        tuple(problem.masts[m].spec for m in masts),
        tuple(problem.extensions[x].spec for x in extensions),
        tuple(problem.booms[b].spec for b in booms),
    )
    return tuple(Pattern(sails[k], masts[m], extensions[x], booms[b]) for k, m, x, b in fitting)


@lru_cache(maxsize=32)
def _fitting(
    sails: tuple[Sail, ...],
    masts: tuple[Mast, ...],
    extensions: tuple[Extension, ...],
    booms: tuple[Boom, ...],
) -> tuple[tuple[int, int, int, int], ...]:
    """Which go together, by their places; kept, since a day is solved in several winds and over again."""
    if not (extensions and booms):
        return ()
    out: list[tuple[int, int, int, int]] = []
    for k, sail in enumerate(sails):
        for m, mast in enumerate(masts):
            suited = [x for x, extension in enumerate(extensions) if stands(sail, mast, extension, booms[0])]
            held = [b for b, boom in enumerate(booms) if suited and holds(sail, mast, extensions[0], boom)]
            out += [(k, m, x, b) for x in suited for b in held]
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
