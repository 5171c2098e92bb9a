"""Incidents as tests tell them: usual values that a test overrides one by one."""

from datetime import timedelta
from typing import Any

from rentals.incidents import services
from rentals.incidents.models import Incident
from tests.rentals.walk import Walk


def told(cast: Walk, **other: Any) -> services.Told:
    """A near miss half an hour ago."""
    usual: dict[str, Any] = {
        "kind": "near_miss",
        "severity": "none",
        "cause": "unknown",
        "happened_at": cast.now - timedelta(minutes=30),
        "words": "The boom came off the mast; the rider swam in.",
    }
    return services.Told(**{**usual, **other})


def reported(cast: Walk, *tags: str, **other: Any) -> Incident:
    """An incident with items of the shed."""
    return services.report_incident(
        actor=other.pop("actor", cast.boss),
        station_id=cast.tarrow.pk,
        told=told(cast, **other),
        item_ids=[cast.shed[tag].pk for tag in tags],
        now=cast.now,
    )
