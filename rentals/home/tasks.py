"""The worker's turn at people at home: who is told what, and who comes next on the waiting list."""

from celery import shared_task

from rentals.home import services
from rentals.lib import clock
from rentals.lib.access import System, service


@shared_task(name="home.tell")
def tell(**_: object) -> None:
    """Write the letters that are due and hand on places that came free."""
    actor, now = service(System.TELL), clock.now()
    for look in (
        services.welcome_desk,
        services.pass_over,
        services.offer_places,
        services.tell_lessons,
        services.tell_changes,
        services.tell_wind,
        services.remind,
        services.thank,
    ):
        look(actor=actor, now=now)
