"""Writes of the bench: return checks, faults and their mending, and the wear of outings and rigs."""

from rentals.bench.services.jobs import (
    SECOND_PERSON_KINDS,
    JobMovedOn,
    UnableToMend,
    hold_for_inspection,
    mend,
    release,
    report_fault,
    withdraw,
)
from rentals.bench.services.returning import Came, UnableToTakeBack, take_back
from rentals.bench.services.wearing import post_rig_wear, post_wear, posting, rig_wear, water_s

__all__ = [
    "SECOND_PERSON_KINDS",
    "Came",
    "JobMovedOn",
    "UnableToMend",
    "UnableToTakeBack",
    "hold_for_inspection",
    "mend",
    "post_rig_wear",
    "post_wear",
    "posting",
    "release",
    "report_fault",
    "rig_wear",
    "take_back",
    "water_s",
    "withdraw",
]
