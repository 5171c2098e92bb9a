"""The worker's turn at letting go."""

from celery import shared_task

from rentals.lib import clock
from rentals.lib.access import System, service
from rentals.privacy import services


@shared_task(name="privacy.let_go")
def let_go(*, dry: bool = False, **_: object) -> dict[str, int]:
    """Let go of what was kept long enough."""
    return services.let_go(actor=service(System.RETAIN), now=clock.now(), dry=dry)
