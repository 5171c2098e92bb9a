"""What is kept for how long and why: one line for each kind of record."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Final


@dataclass(frozen=True, slots=True)
class Keep:
    """A kind of record: how long it is kept after what, why, and what happens then."""

    key: str
    what: str
    age: timedelta | None
    after: str
    why: str
    then: str


DAY: Final = timedelta(days=1)

KEEPS: Final = (
    Keep(
        "tallies",
        "Counts of posts from outside, under a digest of the address",
        2 * DAY,
        "the post",
        "To slow down floods",
        "deleted",
    ),
    Keep("sessions", "Sign-ins", timedelta(0), "they expire", "To know who acts", "deleted"),
    Keep(
        "marks",
        "Keys of forms and requests sent",
        30 * DAY,
        "the form",
        "To answer a form sent twice once",
        "deleted",
    ),
    Keep(
        "links",
        "Digests of secret links",
        30 * DAY,
        "the booked time",
        "To let a party see its booking",
        "deleted",
    ),
    Keep(
        "letters",
        "Text of letters to riders",
        30 * DAY,
        "writing",
        "To answer questions about them",
        "emptied; that it was sent stays",
    ),
    Keep(
        "asked",
        "Riders who asked for a time and never came",
        30 * DAY,
        "the time asked for",
        "To offer them another place",
        "erased as on request",
    ),
    Keep(
        "riders",
        "Riders and their parties",
        3 * 365 * DAY,
        "the last outing",
        "To fit kit, and to answer for an accident within the time in which it may be claimed",
        "erased as on request",
    ),
    Keep(
        "record",
        "The journal, launch and return checks, incidents, wear",
        None,
        "",
        "Safety of the kit and the duty to account for accidents; without names once the rider is erased",
        "kept",
    ),
    Keep(
        "ledger",
        "Takings and receipts",
        None,
        "",
        "Tax law, often ten years; without names once the rider is erased",
        "kept",
    ),
)
"""Status: policy; common practice, no source. A station must hold it against its own law."""

BY_KEY: Final = {keep.key: keep for keep in KEEPS}
