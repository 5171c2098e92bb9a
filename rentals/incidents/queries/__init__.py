"""What the pages of incidents look at: incidents as told, and how a station's day stands at closing time."""

from rentals.incidents.queries.closing import OpenDay, closing_of
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
    "Listed",
    "Nameless",
    "OpenDay",
    "Whole",
    "closing_of",
    "incidents_at",
    "items_tagged",
    "kit_of",
    "nameless",
    "outing_choices",
    "weather_then",
    "whole",
    "whole_of",
]
