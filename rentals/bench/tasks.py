"""The worker's turn at wear and inspections."""

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


@shared_task(name="bench.hold_back_overdue")
def hold_back_overdue(**_: object) -> None:
    """Hold back what is past its inspection."""
    services.hold_back_overdue(actor=service(System.HOLD_BACK), now=clock.now())
