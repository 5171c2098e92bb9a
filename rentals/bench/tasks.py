"""The worker's turn at wear."""

from celery import shared_task

from rentals.bench import services
from rentals.lib import clock
from rentals.lib.access import System, service


@shared_task(name="bench.post_wear")
def post_wear(**_: object) -> None:
    """Post what closed outings wore."""
    services.post_wear(actor=service(System.POST_WEAR), now=clock.now())
