"""What the pages look at: incidents as told, the distress sheet, and a day at closing time."""

from rentals.incidents.queries.closing import OpenDay, closing_of
from rentals.incidents.queries.distress import LastSeen, Said, Sheet, distress_sheet
from rentals.incidents.queries.telling import (
    Listed,
    Nameless,
    Whole,
    incidents_at,
    items_tagged,
    kit_of,
    nameless,
    weather_then,
    whole,
    whole_of,
)
from rentals.incidents.queries.whom import Whom, whom

__all__ = [
    "LastSeen",
    "Listed",
    "Nameless",
    "OpenDay",
    "Said",
    "Sheet",
    "Whole",
    "Whom",
    "closing_of",
    "distress_sheet",
    "incidents_at",
    "items_tagged",
    "kit_of",
    "nameless",
    "weather_then",
    "whole",
    "whole_of",
    "whom",
]
