"""The state machine of a party that books from home, as a table: state and event give the next state."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final


class GuestState(StrEnum):
    """Where a party from home is between asking and leaving."""

    WAITING = "waiting"
    OFFERED = "offered"
    BOOKED = "booked"
    LAPSED = "lapsed"
    LEFT = "left"


class GuestEvent(StrEnum):
    """What happens to it."""

    OFFER = "offer a place to"
    TAKE = "take the place of"
    LAPSE = "pass over"
    LEAVE = "cancel"


_S, _E = GuestState, GuestEvent

MOVES: Final[Mapping[tuple[GuestState, GuestEvent], GuestState]] = {
    (_S.WAITING, _E.OFFER): _S.OFFERED,
    (_S.OFFERED, _E.TAKE): _S.BOOKED,
    (_S.WAITING, _E.LAPSE): _S.LAPSED,
    (_S.OFFERED, _E.LAPSE): _S.LAPSED,
    (_S.WAITING, _E.LEAVE): _S.LEFT,
    (_S.OFFERED, _E.LEAVE): _S.LEFT,
    (_S.BOOKED, _E.LEAVE): _S.LEFT,
}

IN_THE_DAY: Final = (GuestState.OFFERED, GuestState.BOOKED)
"""States in which the party has outings."""
