"""The worker's turn at wear."""

from celery import shared_task

from rentals.bench import services
from rentals.lib import clock
from rentals.lib.access import System, service


@shared_task(name="bench.post_wear")
def post_wear(**_: object) -> None:
    """Post what closed outings wore, and rigs that stood built."""
    actor, now = service(System.POST_WEAR), clock.now()
    services.post_wear(actor=actor, now=now)
    services.post_rig_wear(actor=actor, now=now)
