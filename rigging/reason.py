"""Why a number is what it is: the inputs, the rule and the source that every result carries."""

from dataclasses import dataclass
from typing import Final

COMMON_PRACTICE: Final = "common practice, no source"
FROM_MEMORY: Final = "from memory"
CALIBRATED: Final = "calibrated here"
POLICY: Final = "station setting"


@dataclass(frozen=True, slots=True)
class Input:
    """One number or word that went into a result, with its unit as printed (empty for words)."""

    name: str
    value: float | str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Reason:
    """A result's reason: a plain sentence with the numbers in it, the rule, where the rule is from."""

    text: str
    rule: str
    source: str
    inputs: tuple[Input, ...] = ()
