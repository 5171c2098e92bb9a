"""Day plans: asked for, solved outside any transaction, accepted whole, their rigs ticked off."""

from rentals.dayplan.services.accepting import UnableToAccept, accept_plan
from rentals.dayplan.services.asking import (
    TASK,
    UnableToPlan,
    adjust_plan,
    ask_for_plan,
    cancel_plan,
    plan_again,
)
from rentals.dayplan.services.crewing import CrewFacts, UnableToSetCrew, set_crew
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
from rentals.dayplan.services.studying import (
    Slice,
    UnableToMoveStudy,
    ask_for_study,
    cancel_study,
    fail_study,
    finish_study,
    keep_slice,
    take_slice,
)
from rentals.dayplan.services.ticking import UnableToTick, tick_rig

__all__ = [
    "MOST_TRIES",
    "SILENT_AFTER",
    "TASK",
    "CrewFacts",
    "Errand",
    "PromiseIsStale",
    "Slice",
    "UnableToAccept",
    "UnableToMovePlan",
    "UnableToMoveStudy",
    "UnableToPlan",
    "UnableToPromise",
    "UnableToSetCrew",
    "UnableToTick",
    "accept_plan",
    "adjust_plan",
    "ask_for_plan",
    "ask_for_study",
    "beat",
    "book_promised",
    "cancel_plan",
    "cancel_study",
    "fail_plan",
    "fail_study",
    "finish_plan",
    "finish_study",
    "keep_slice",
    "keep_to",
    "plan_again",
    "set_crew",
    "take_plan",
    "take_slice",
    "tick_rig",
]
