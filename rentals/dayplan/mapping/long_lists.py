"""Long lists of a day: what matters now of each, and the rest by pages."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import IntEnum, StrEnum
from math import ceil
from typing import Final, Generic, TypeVar

T = TypeVar("T")
R = TypeVar("R")

MOST_ROWS: Final = 40
"""Up to how many rows a list of the day's page is whole. Status: policy."""

PER_PAGE: Final = 200
DRAWN_PER_PAGE: Final = 100
"""Rows of a list that has a page to itself; a rig that is drawn weighs more than a line of a table."""


class LongList(StrEnum):
    """A list of the day that may be asked for whole."""

    RIGS = "rigs"
    RIDERS = "riders"
    SHORT = "short"
    OTHER_KIT = "kit"
    ASIDE = "aside"
    DRAWN = "drawn"
    COST = "cost"
    SINCE = "since"

    @property
    def per_page(self) -> int:
        """How many rows a page of it has."""
        return DRAWN_PER_PAGE if self is LongList.DRAWN else PER_PAGE

    @property
    def heading(self) -> str:
        """Its heading."""
        return _TITLES[self]


_TITLES: Final = {
    LongList.RIGS: "Rigs to build, in this order",
    LongList.RIDERS: "Who gets which",
    LongList.SHORT: "Tell them: no rig",
    LongList.OTHER_KIT: "Tell them: other kit than promised",
    LongList.ASIDE: "Left as they are",
    LongList.DRAWN: "Rigs over the day",
    LongList.COST: "Beside the plan before",
    LongList.SINCE: "Since the plan was made",
}


class Turn(IntEnum):
    """When a row of a list has its turn to be shown."""

    FIRST = 0
    NOW = 1
    NEXT = 2
    DONE = 3


@dataclass(frozen=True, slots=True)
class Stretch(Generic[T]):
    """Rows of a list in its order, of how many, and which page of it they are."""

    rows: tuple[T, ...]
    total: int
    page: int = 1
    pages: int = 1
    before: int = 0

    @property
    def hidden(self) -> int:
        """How many are not among the rows."""
        return self.total - len(self.rows)

    @property
    def last(self) -> int:
        """The place of the last row in the whole list."""
        return self.before + len(self.rows)

    def of(self, rows: Iterable[R]) -> "Stretch[R]":
        """The same places of the list with what is shown in them."""
        return Stretch(tuple(rows), self.total, self.page, self.pages, self.before)


@dataclass(frozen=True, slots=True)
class Cut:
    """What a page shows of each list: what matters now of all, or a page of one of them."""

    whole: LongList | None = None
    page: int = 1

    def of(
        self, which: LongList, rows: Sequence[T], turn: Callable[[T], Turn] = lambda _: Turn.NEXT
    ) -> Stretch[T]:
        """Return what a page shows of a list.

        Args:
            which: the list.
            rows: all of it, in its order.
            turn: when a row of a list too long to be shown whole has its turn; those done have none.
        """
        if self.whole is None:
            return Stretch(_in_turn(rows, turn), len(rows))
        if which is not self.whole:
            return Stretch((), len(rows))
        pages = max(ceil(len(rows) / which.per_page), 1)
        page = min(max(self.page, 1), pages)
        before = (page - 1) * which.per_page
        return Stretch(tuple(rows[before : before + which.per_page]), len(rows), page, pages, before)


OF_THE_DAY: Final = Cut()
"""What matters now of every list."""


def _in_turn(rows: Sequence[T], turn: Callable[[T], Turn]) -> tuple[T, ...]:
    if len(rows) <= MOST_ROWS:
        return tuple(rows)
    turns = [(when, place) for place, when in enumerate(map(turn, rows)) if when is not Turn.DONE]
    return tuple(rows[place] for place in sorted(place for _, place in sorted(turns)[:MOST_ROWS]))
