"""The state machine of an errand."""

from enum import StrEnum
from typing import Final


class ErrandState(StrEnum):
    """Where an errand is between being asked for and done."""

    WAITING = "waiting"
    WORKING = "working"
    DONE = "done"
    FAILED = "failed"
    CANCELLED = "cancelled"


_S = ErrandState

MOVES: Final = frozenset(
    {
        (_S.WAITING, _S.WORKING),
        (_S.WORKING, _S.WORKING),
        (_S.WORKING, _S.DONE),
        (_S.WORKING, _S.FAILED),
        (_S.WAITING, _S.CANCELLED),
        (_S.WORKING, _S.CANCELLED),
    }
)
"""Moves of an errand; what is over stays over."""

UNDER_WAY: Final = (ErrandState.WAITING, ErrandState.WORKING)
