"""Drift of an overdue rider: datum, cloud and search area from wind, current and published leeway."""

from rigging.drift.cloud import (
    Current,
    Drift,
    Ellipse,
    LastKnown,
    Spread,
    WindStep,
    drift,
    offset_position,
)
from rigging.drift.leeway import LEEWAY, SOURCE, Drifter, Leeway, Line, leeway_ms
from rigging.drift.sheet import CAUTION, position_words, sheet_lines

__all__ = [
    "CAUTION",
    "LEEWAY",
    "SOURCE",
    "Current",
    "Drift",
    "Drifter",
    "Ellipse",
    "LastKnown",
    "Leeway",
    "Line",
    "Spread",
    "WindStep",
    "drift",
    "leeway_ms",
    "offset_position",
    "position_words",
    "sheet_lines",
]
