"""A JSON value under reading: every refusal names the path to the field."""

from collections.abc import Callable, Mapping
from datetime import datetime
from enum import StrEnum
from typing import Final, TypeVar

from rigging.units import BadValue, in_range

T = TypeVar("T")
E = TypeVar("E", bound=StrEnum)

LARGEST: Final = 1e4
"""Upper limit of any length, area, volume or count in the form. Status: policy."""

MINUTE_S: Final = 60


class Node:
    """A JSON value and the path to it; each key is taken once, and what is left over is refused."""

    def __init__(self, path: str, value: object) -> None:
        self.path, self.value = path, value
        self._left = {str(key) for key in value} if isinstance(value, Mapping) else set()

    def refuse(self, allowed: str) -> BadValue:
        return BadValue(self.path or "the instance", self.value, "", allowed)

    def take(self, key: str, default: object = None) -> "Node":
        """The value under a key."""
        if not isinstance(self.value, Mapping):
            raise self.refuse("an object")
        self._left.discard(key)
        path = f"{self.path}.{key}" if self.path else key
        if key not in self.value and default is None:
            raise BadValue(path, "missing", "", "given")
        return Node(path, self.value.get(key, default))

    def has(self, key: str) -> bool:
        return isinstance(self.value, Mapping) and self.value.get(key) is not None

    def done(self) -> None:
        """Refuse what has not been taken."""
        for key in sorted(self._left):
            if self.has(key):
                raise BadValue(f"{self.path}.{key}" if self.path else key, "given", "", "a known field")

    def text(self) -> str:
        if not isinstance(self.value, str) or not self.value:
            raise self.refuse("a text")
        return self.value

    def number(self, low: float = 0.0, high: float = LARGEST) -> float:
        if isinstance(self.value, bool) or not isinstance(self.value, int | float):
            raise self.refuse("a number")
        return in_range(self.path, self.value, "", low, high)

    def whole(self) -> int:
        number = self.number()
        if number != int(number):
            raise self.refuse("a whole number")
        return int(number)

    def flag(self) -> bool:
        if not isinstance(self.value, bool):
            raise self.refuse("true or false")
        return self.value

    def time(self) -> datetime:
        try:
            at = datetime.fromisoformat(self.text())
        except ValueError:
            raise self.refuse("a time as in 2026-07-14T09:30:00+02:00") from None
        if at.utcoffset() is None:
            raise self.refuse("a time with its offset from UTC")
        return at

    def minute(self, origin: datetime) -> int:
        seconds = (self.time() - origin).total_seconds()
        if seconds % MINUTE_S:
            raise self.refuse("a time in whole minutes")
        return int(seconds // MINUTE_S)

    def one_of(self, kind: type[E]) -> E:
        if not isinstance(self.value, str) or self.value not in list(kind):
            raise self.refuse("one of " + ", ".join(kind))
        return kind(self.value)

    def each(self, read: Callable[["Node"], T]) -> tuple[T, ...]:
        if not isinstance(self.value, list):
            raise self.refuse("a list")
        return tuple(read(Node(f"{self.path}[{n}]", value)) for n, value in enumerate(self.value))

    def losses(self) -> dict[str, float]:
        if not isinstance(self.value, Mapping):
            raise self.refuse("an object of names and losses")
        return {
            str(name): Node(f"{self.path}.{name}", loss).number(0.0, 1.0) for name, loss in self.value.items()
        }
