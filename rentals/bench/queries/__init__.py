"""The shed as a list, an item with its life and inspections, the bench's jobs, and what is still out."""

from rentals.bench.queries.inspections import (
    DueRow,
    Inspections,
    IntervalRow,
    Standing,
    held_back,
    inspections_at,
    intervals_at,
    setting_of,
    settled,
    standings,
    standings_of,
)
from rentals.bench.queries.items import (
    ItemLife,
    ReturnSheet,
    item_life,
    items_at,
    models_at,
    return_sheet,
    still_out,
    to_label,
    worn_items,
)
from rentals.bench.queries.jobs import (
    BenchJob,
    job_for,
    jobs_at,
    photo_for,
)
from rentals.bench.queries.line import LifeLine, life_line
from rentals.bench.queries.ready import checks_ready
from rentals.bench.queries.recalls import (
    CalledItem,
    Recalled,
    recall_csv,
    recall_for,
    recalls_at,
)

__all__ = [
    "BenchJob",
    "CalledItem",
    "DueRow",
    "Inspections",
    "IntervalRow",
    "ItemLife",
    "LifeLine",
    "Recalled",
    "ReturnSheet",
    "Standing",
    "checks_ready",
    "held_back",
    "inspections_at",
    "intervals_at",
    "item_life",
    "items_at",
    "job_for",
    "jobs_at",
    "life_line",
    "models_at",
    "photo_for",
    "recall_csv",
    "recall_for",
    "recalls_at",
    "return_sheet",
    "setting_of",
    "settled",
    "standings",
    "standings_of",
    "still_out",
    "to_label",
    "worn_items",
]
