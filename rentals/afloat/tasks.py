"""The worker's turn at the watch."""

from celery import shared_task

from rentals.afloat import services
from rentals.lib import clock
from rentals.lib.access import System, service


@shared_task(name="afloat.watch")
def watch(**_: object) -> None:
    """Look for riders who are late."""
    services.watch(actor=service(System.WATCH), now=clock.now())
