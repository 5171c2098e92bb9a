"""Riders' own kit in the racks."""

from dataclasses import dataclass
from datetime import date

from rentals.stations.models import Station
from rentals.takings.models import Stored


@dataclass(frozen=True, slots=True)
class StoredNow:
    """Own kit in the racks, and whether its time is over."""

    stored: Stored
    over: bool


def stored_at(station: Station, day: date) -> list[StoredNow]:
    """Return what is stored and not fetched, the one whose time ends first first: one query."""
    found = Stored.objects.filter(station=station, fetched_at=None, charge__taken_back=None)
    return [
        StoredNow(each, each.last_day < day)
        for each in found.select_related("party").order_by("last_day", "id")
    ]
