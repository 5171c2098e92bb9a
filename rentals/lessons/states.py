"""The states of a lesson, as a table: planned until it is called off."""

from enum import StrEnum
from typing import Final


class LessonState(StrEnum):
    """Whether a lesson takes place; one that is past was held if it was not cancelled."""

    PLANNED = "planned"
    CANCELLED = "cancelled"


MOVES: Final = ((LessonState.PLANNED, LessonState.CANCELLED),)
