"""Levels of competence, alone in a room that loads nothing: rows and check lists need no more of a rider."""

from enum import StrEnum
from typing import Final


class Level(StrEnum):
    """Competence of a rider, in rising order."""

    TASTER = "taster"
    BEGINNER = "beginner"
    IMPROVER = "improver"
    INTERMEDIATE = "intermediate"
    ADVANCED = "advanced"
    EXPERT = "expert"

    @property
    def rank(self) -> int:
        """Place in the order, 0 for a taster."""
        return _RANKS[self]

    @property
    def planes(self) -> bool:
        """Whether riders of this level plane in the harness."""
        return self.rank >= _RANKS[Level.INTERMEDIATE]


_RANKS: Final = {level: rank for rank, level in enumerate(Level)}
