"""Libraries that take half a second to load, loaded when something of them is first used.

A page that needs no formula is up before they are; the desk's second start has its first page sooner.
"""

from importlib import import_module
from typing import Any


class Later:
    """A module by name; whatever is asked of it is asked of the module."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __getattr__(self, name: str) -> Any:
        found = getattr(import_module(self._name), name)
        # Next time it is at hand.
        setattr(self, name, found)
        return found


optimize: Any = Later("scipy.optimize")
special: Any = Later("scipy.special")
