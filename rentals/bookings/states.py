"""The state machine of an outing, as a table: state and event give the next state."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final


class OutingState(StrEnum):
    """Where an outing is between promise and closing."""

    BOOKED = "booked"
    KITTED = "kitted"
    CLEARED = "cleared"
    AFLOAT = "afloat"
    ASHORE = "ashore"
    CLOSED = "closed"
    CANCELLED = "cancelled"
    NO_SHOW = "no_show"


class OutingEvent(StrEnum):
    """What happens to an outing."""

    KIT = "kit"
    CLEAR = "clear"
    LAUNCH = "launch"
    LAND = "land"
    CLOSE = "close"
    CANCEL = "cancel"
    MISS = "miss"
    UNKIT = "take the kit back from"
    UNLAND = "call back afloat"


_S, _E = OutingState, OutingEvent

MOVES: Final[Mapping[tuple[OutingState, OutingEvent], OutingState]] = {
    (_S.BOOKED, _E.KIT): _S.KITTED,
    (_S.KITTED, _E.KIT): _S.KITTED,
    (_S.CLEARED, _E.KIT): _S.KITTED,
    (_S.KITTED, _E.CLEAR): _S.CLEARED,
    (_S.CLEARED, _E.CLEAR): _S.CLEARED,
    (_S.CLEARED, _E.LAUNCH): _S.AFLOAT,
    (_S.AFLOAT, _E.LAND): _S.ASHORE,
    (_S.ASHORE, _E.UNLAND): _S.AFLOAT,
    (_S.KITTED, _E.UNKIT): _S.BOOKED,
    (_S.CLEARED, _E.UNKIT): _S.BOOKED,
    (_S.ASHORE, _E.CLOSE): _S.CLOSED,
    (_S.KITTED, _E.CLOSE): _S.CLOSED,
    (_S.CLEARED, _E.CLOSE): _S.CLOSED,
    (_S.BOOKED, _E.CANCEL): _S.CANCELLED,
    (_S.KITTED, _E.CANCEL): _S.CANCELLED,
    (_S.CLEARED, _E.CANCEL): _S.CANCELLED,
    (_S.BOOKED, _E.MISS): _S.NO_SHOW,
    (_S.KITTED, _E.MISS): _S.NO_SHOW,
}

NOT_YET_AFLOAT: Final = (OutingState.BOOKED, OutingState.KITTED, OutingState.CLEARED)
ON_THE_WATER_OR_BACK: Final = (OutingState.AFLOAT, OutingState.ASHORE)
DROPPED: Final = (OutingState.CANCELLED, OutingState.NO_SHOW)
