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
    outing_choices,
    weather_then,
    whole,
    whole_of,
)

__all__ = [
    "LastSeen",
    "Listed",
    "Nameless",
    "OpenDay",
    "Said",
    "Sheet",
    "Whole",
    "closing_of",
    "distress_sheet",
    "incidents_at",
    "items_tagged",
    "kit_of",
    "nameless",
    "outing_choices",
    "weather_then",
    "whole",
    "whole_of",
]
