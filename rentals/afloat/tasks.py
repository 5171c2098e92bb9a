"""The worker's turn at the watch."""

import logging

from celery import shared_task

from rentals.afloat import services
from rentals.lib import clock
from rentals.lib.access import System, service
from rentals.stations import queries as stations

logger = logging.getLogger(__name__)


@shared_task(name="afloat.watch")
def watch(**_: object) -> None:
    """Look for riders who are late, station by station: what fails at one must not blind the others."""
    for station_id in stations.all_ids():
        try:
            services.watch(actor=service(System.WATCH), station_id=station_id, now=clock.now())
        except Exception:
            # Nothing is noted then, so the missing beat shows on every page of that station.
            logger.exception("The watch over station %s failed; it looks again in a moment", station_id)
