"""The state machine of a day plan, as a table: state and event give the next state."""

from collections.abc import Mapping
from enum import StrEnum
from typing import Final


class PlanState(StrEnum):
    """Where a plan is between being asked for and being replaced."""

    WAITING = "waiting"
    SOLVING = "solving"
    READY = "ready"
    ACCEPTED = "accepted"
    SUPERSEDED = "superseded"
    FAILED = "failed"
    CANCELLED = "cancelled"


class PlanEvent(StrEnum):
    """What happens to a plan."""

    TAKE = "take"
    FINISH = "finish"
    FAIL = "fail"
    CANCEL = "cancel"
    ACCEPT = "accept"
    SUPERSEDE = "supersede"


_S, _E = PlanState, PlanEvent

MOVES: Final[Mapping[tuple[PlanState, PlanEvent], PlanState]] = {
    (_S.WAITING, _E.TAKE): _S.SOLVING,
    (_S.SOLVING, _E.TAKE): _S.SOLVING,
    (_S.SOLVING, _E.FINISH): _S.READY,
    (_S.SOLVING, _E.FAIL): _S.FAILED,
    (_S.WAITING, _E.CANCEL): _S.CANCELLED,
    (_S.SOLVING, _E.CANCEL): _S.CANCELLED,
    (_S.READY, _E.CANCEL): _S.CANCELLED,
    (_S.READY, _E.ACCEPT): _S.ACCEPTED,
    (_S.READY, _E.SUPERSEDE): _S.SUPERSEDED,
    (_S.ACCEPTED, _E.SUPERSEDE): _S.SUPERSEDED,
}

UNDER_WAY: Final = (PlanState.WAITING, PlanState.SOLVING)
SOLVED: Final = (PlanState.READY, PlanState.ACCEPTED, PlanState.SUPERSEDED)
"""States in which a plan has its result."""


class StudyState(StrEnum):
    """Where a study of what the shed lacks is."""

    WAITING = "waiting"
    WORKING = "working"
    READY = "ready"
    FAILED = "failed"
    CANCELLED = "cancelled"


STUDY_MOVES: Final = frozenset(
    {
        (StudyState.WAITING, StudyState.WORKING),
        (StudyState.WORKING, StudyState.WORKING),
        (StudyState.WORKING, StudyState.READY),
        (StudyState.WORKING, StudyState.FAILED),
        (StudyState.WAITING, StudyState.CANCELLED),
        (StudyState.WORKING, StudyState.CANCELLED),
    }
)
"""Moves of a study; what is ready stays."""

STUDY_UNDER_WAY: Final = (StudyState.WAITING, StudyState.WORKING)
