"""Reading for the day plan: the day as it is, plans as they are shown, and what a party may be promised."""

from rentals.dayplan.queries.day import crew_of, day_rows, day_stamp
from rentals.dayplan.queries.promise import (
    WINDS,
    Given,
    Outlook,
    Promise,
    ShortOf,
    UnableToSay,
    Wish,
    open_starts,
    promise,
)
from rentals.dayplan.queries.rig_up import (
    CrewList,
    Laid,
    RigUp,
    TaskRow,
    laid_out,
    plan_for,
    rig_up,
    task,
    tasks_of,
    visible_plan,
)
from rentals.dayplan.queries.studies import Bought, Shelf, bought, inputs_of, planned_days, shelf

__all__ = [
    "WINDS",
    "Bought",
    "CrewList",
    "Given",
    "Laid",
    "Outlook",
    "Promise",
    "RigUp",
    "Shelf",
    "ShortOf",
    "TaskRow",
    "UnableToSay",
    "Wish",
    "bought",
    "crew_of",
    "day_rows",
    "day_stamp",
    "inputs_of",
    "laid_out",
    "open_starts",
    "plan_for",
    "planned_days",
    "promise",
    "rig_up",
    "shelf",
    "task",
    "tasks_of",
    "visible_plan",
]
