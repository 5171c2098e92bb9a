"""Writes of the bench: return checks, faults and their mending, inspections, and wear that posts itself."""

from rentals.bench.services.inspecting import (
    INTERVALS,
    Found,
    StillHeldBack,
    UnableToInspect,
    hold_back_overdue,
    inspect,
    inspect_rack,
    may_release,
    release_held,
    set_bench,
    set_interval,
)
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
from rentals.bench.services.noting import MOST_PHOTOS, Note, add_photo, note_job
from rentals.bench.services.recalling import RecallEnded, UnableToRecall, end_recall, recall_kit
from rentals.bench.services.returning import Came, UnableToTakeBack, take_back
from rentals.bench.services.wearing import post_rig_wear, post_wear, posting, rig_wear, water_s

__all__ = [
    "INTERVALS",
    "MOST_PHOTOS",
    "SECOND_PERSON_KINDS",
    "Came",
    "Found",
    "JobMovedOn",
    "Note",
    "RecallEnded",
    "StillHeldBack",
    "UnableToInspect",
    "UnableToMend",
    "UnableToRecall",
    "UnableToTakeBack",
    "add_photo",
    "end_recall",
    "hold_back_overdue",
    "hold_for_inspection",
    "inspect",
    "inspect_rack",
    "may_release",
    "mend",
    "note_job",
    "post_rig_wear",
    "post_wear",
    "posting",
    "recall_kit",
    "release",
    "release_held",
    "report_fault",
    "rig_wear",
    "set_bench",
    "set_interval",
    "take_back",
    "water_s",
    "withdraw",
]
