"""The state machine of an item, as a table: state and event give the next state."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final


class ItemState(StrEnum):
    """Where an item is in its life."""

    READY = "ready"
    RIGGED = "rigged"
    ISSUED = "issued"
    HELD_BACK = "held_back"
    ON_BENCH = "on_bench"
    WITHDRAWN = "withdrawn"


class ItemEvent(StrEnum):
    """What happens to an item."""

    RIG_UP = "rig up"
    DERIG = "derig"
    ISSUE = "issue"
    TAKE_BACK = "take back"
    TAKE_BACK_RIGGED = "take back rigged"
    HOLD_BACK = "hold back"
    TO_BENCH = "take to the bench"
    RELEASE = "release"
    WITHDRAW = "withdraw"


_S, _E = ItemState, ItemEvent

MOVES: Final[Mapping[tuple[ItemState, ItemEvent], ItemState]] = {
    (_S.READY, _E.RIG_UP): _S.RIGGED,
    (_S.READY, _E.ISSUE): _S.ISSUED,
    (_S.READY, _E.HOLD_BACK): _S.HELD_BACK,
    (_S.READY, _E.TO_BENCH): _S.ON_BENCH,
    (_S.READY, _E.WITHDRAW): _S.WITHDRAWN,
    (_S.RIGGED, _E.DERIG): _S.READY,
    (_S.RIGGED, _E.ISSUE): _S.ISSUED,
    (_S.RIGGED, _E.HOLD_BACK): _S.HELD_BACK,
    (_S.RIGGED, _E.TO_BENCH): _S.ON_BENCH,
    (_S.ISSUED, _E.TAKE_BACK): _S.READY,
    (_S.ISSUED, _E.TAKE_BACK_RIGGED): _S.RIGGED,
    (_S.ISSUED, _E.HOLD_BACK): _S.HELD_BACK,
    (_S.ISSUED, _E.TO_BENCH): _S.ON_BENCH,
    (_S.ISSUED, _E.WITHDRAW): _S.WITHDRAWN,
    (_S.HELD_BACK, _E.RELEASE): _S.READY,
    (_S.HELD_BACK, _E.TO_BENCH): _S.ON_BENCH,
    (_S.HELD_BACK, _E.WITHDRAW): _S.WITHDRAWN,
    (_S.ON_BENCH, _E.RELEASE): _S.READY,
    (_S.ON_BENCH, _E.HOLD_BACK): _S.HELD_BACK,
    (_S.ON_BENCH, _E.WITHDRAW): _S.WITHDRAWN,
}

AT_HAND: Final = (ItemState.READY, ItemState.RIGGED)
"""States in which an item can be handed over as it lies."""

OUT_OF_USE: Final = (ItemState.HELD_BACK, ItemState.ON_BENCH, ItemState.WITHDRAWN)
"""States in which an item is neither promised nor issued."""
