"""Errands that are asked for, and taken by a worker."""

from typing import Any

from rentals.errands import services
from rentals.errands.models import Errand, ErrandKind
from rentals.lib.access import System, service
from tests.rentals.walk import Walk

WORKER = service(System.WORK)


def wanted(cast: Walk, kind: ErrandKind, asked: Any = None) -> Errand:
    """What the manager asks for."""
    return services.ask_for(
        actor=cast.boss, station_id=cast.tarrow.pk, kind=kind, asked=asked or {}, now=cast.now
    )


def underway(cast: Walk, kind: ErrandKind, asked: Any = None) -> services.Taken:
    """What a worker has taken."""
    wanted(cast, kind, asked)
    taken = services.take(actor=WORKER, kind=kind, now=cast.now)
    assert taken is not None
    return taken
