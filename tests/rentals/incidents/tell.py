"""Incidents as tests tell them: usual values that a test overrides one by one."""

from datetime import timedelta
from typing import Any

from rentals.incidents import services
from rentals.incidents.models import Closing, Incident
from rigging.checks.lists import CLOSING
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


def signed(cast: Walk, **other: Any) -> Closing:
    """Today signed off after the closing round."""
    usual: dict[str, Any] = {
        "actor": cast.boss,
        "station_id": cast.tarrow.pk,
        "day": cast.now.date(),
        "ticked": frozenset(key for key, _ in CLOSING),
        "name": "Maud Manager",
        "now": cast.now,
    }
    return services.sign_day(**{**usual, **other})


def opened_again(cast: Walk, **other: Any) -> Closing:
    """A signed day opened again."""
    usual: dict[str, Any] = {
        "actor": cast.boss,
        "station_id": cast.tarrow.pk,
        "day": cast.now.date(),
        "name": "Maud Manager",
        "note": "A rider came late",
        "now": cast.now,
    }
    return services.reopen_day(**{**usual, **other})
