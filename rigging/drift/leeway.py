"""Leeway: how fast and to which side of downwind a person or a craft adrift is blown, by published table.

Crosswind leeway is positive to the right of downwind (looking the way the wind blows).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rigging.units import array_in_range, one_of

Floats = NDArray[np.float64]

SOURCE: Final = (
    "Allen & Plourde 1999, USCG R&D Center CG-D-08-99, table of 2011-08-25; "
    "model Breivik & Allen 2008, J. Marine Syst. 69"
)
MAX_WIND_MS: Final = 60.0


class Drifter(StrEnum):
    """What drifts."""

    PERSON = "person"
    PERSON_VERTICAL = "person_vertical"
    PERSON_SITTING = "person_sitting"
    PERSON_SURVIVAL_SUIT = "person_survival_suit"
    PERSON_SCUBA_SUIT = "person_scuba_suit"
    PERSON_FACE_DOWN = "person_face_down"
    KAYAK = "kayak"
    BOARD = "board"
    WINDSURFER = "windsurfer"


class Line(NamedTuple):
    """One regression: slope in per cent of the 10 m wind, offset and standard error in cm/s."""

    slope: float
    offset: float
    std: float


@dataclass(frozen=True, slots=True)
class Leeway:
    """One row of the table: its number, what drifts in words, and its three regressions."""

    row: int
    words: str
    down: Line
    right: Line
    left: Line


def _row(row: int, words: str, down: Line, right: Line) -> Leeway:
    """A row that is the same on both sides."""
    return Leeway(row, words, down, right, Line(-right.slope, -right.offset, right.std))


LEEWAY: Final[Mapping[Drifter, Leeway]] = MappingProxyType(
    {
        Drifter.PERSON: _row(1, "person in water, state unknown", Line(0.96, 0, 12.0), Line(0.54, 0, 9.4)),
        Drifter.PERSON_VERTICAL: _row(
            2, "person in water, upright in a buoyancy aid", Line(0.48, 0, 8.3), Line(0.15, 0, 6.7)
        ),
        Drifter.PERSON_SITTING: _row(
            3, "person in water, sitting in a life jacket", Line(1.6, -3.98, 2.42), Line(0.13, 0.33, 2.11)
        ),
        Drifter.PERSON_SURVIVAL_SUIT: Leeway(
            4,
            "person in a survival suit, face up",
            Line(1.71, 1.12, 3.93),
            Line(1.36, -3.3, 1.71),
            Line(-0.13, -2.65, 1.62),
        ),
        Drifter.PERSON_SCUBA_SUIT: _row(
            5, "person in a diver's suit, face up", Line(0.63, 0, 5.3), Line(0.31, 0, 4.5)
        ),
        Drifter.PERSON_FACE_DOWN: _row(6, "person face down", Line(1.117, 10.2, 3.04), Line(0.04, 3.9, 4.05)),
        Drifter.KAYAK: _row(
            41, "sea kayak with a person on its deck", Line(1.16, 11.12, 4.12), Line(0.41, 0, 4.39)
        ),
        Drifter.BOARD: _row(42, "board with a person", Line(1.93, 0, 8.3), Line(0.51, 0, 6.7)),
        Drifter.WINDSURFER: _row(
            43, "windsurfer adrift, rig in the water", Line(2.25, 5.03, 2.5), Line(0.69, -1.3, 2.96)
        ),
    }
)
"""Published (see SOURCE). `fixtures/reference/leeway.csv` holds the same rows; a test compares them."""


def leeway_ms(drifter: Drifter, wind10_ms: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Return mean leeway (downwind, crosswind when drifting right, crosswind when drifting left) [m/s].

    Args:
        drifter: what drifts.
        wind10_ms: 10 m wind [m/s], 0 to 60; any shape, kept in the results.

    Crosswind is positive to the right of downwind, so the third result is usually negative.

    Raises:
        BadValue: for winds that are not finite or out of range.

    Source: linear regressions of Allen & Plourde 1999, speed = slope W + offset.
    """
    row, wind = LEEWAY[known(drifter)], array_in_range("wind10_ms", wind10_ms, "m/s", 0, MAX_WIND_MS)
    down, right, left = ((line.slope * wind + line.offset) / 100 for line in (row.down, row.right, row.left))
    return down, right, left


def known(drifter: str) -> Drifter:
    """Return the drifter of a word; raises BadValue for a word that the table doesn't hold."""
    return Drifter(one_of("drifter", drifter, Drifter))
