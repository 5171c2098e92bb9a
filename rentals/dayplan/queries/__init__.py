"""Reading for the day plan: the day as it is, plans as they are shown, and what a party may be promised."""

from rentals.dayplan.queries.day import day_rows, day_stamp
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
from rentals.dayplan.queries.rig_up import RigUp, TaskRow, laid_out, plan_for, rig_up, tasks, visible_plan

__all__ = [
    "WINDS",
    "Given",
    "Outlook",
    "Promise",
    "RigUp",
    "ShortOf",
    "TaskRow",
    "UnableToSay",
    "Wish",
    "day_rows",
    "day_stamp",
    "laid_out",
    "open_starts",
    "plan_for",
    "promise",
    "rig_up",
    "tasks",
    "visible_plan",
]
