"""Day plans: asked for, solved outside any transaction, accepted whole, their rigs ticked off."""

from rentals.dayplan.services.accepting import UnableToAccept, accept_plan
from rentals.dayplan.services.asking import TASK, UnableToPlan, adjust_plan, ask_for_plan, cancel_plan
from rentals.dayplan.services.moving import UnableToMovePlan
from rentals.dayplan.services.promising import PromiseIsStale, UnableToPromise, book_promised, keep_to
from rentals.dayplan.services.solving import (
    MOST_TRIES,
    SILENT_AFTER,
    Errand,
    beat,
    fail_plan,
    finish_plan,
    take_plan,
)
from rentals.dayplan.services.ticking import UnableToTick, tick_rig

__all__ = [
    "MOST_TRIES",
    "SILENT_AFTER",
    "TASK",
    "Errand",
    "PromiseIsStale",
    "UnableToAccept",
    "UnableToMovePlan",
    "UnableToPlan",
    "UnableToPromise",
    "UnableToTick",
    "accept_plan",
    "adjust_plan",
    "ask_for_plan",
    "beat",
    "book_promised",
    "cancel_plan",
    "fail_plan",
    "finish_plan",
    "keep_to",
    "take_plan",
    "tick_rig",
]
