"""The worker's turn at the outbox."""

from smtplib import SMTPException

from celery import shared_task

from rentals.lib import clock
from rentals.lib.access import System, service
from rentals.mail import services

BATCH = 50


@shared_task(name="mail.send")
def send(**_: object) -> None:
    """Send what is due, at most a batch, so that a long outbox cannot starve the watch."""
    actor = service(System.SEND)
    for _turn in range(BATCH):
        taken = services.take_next(actor=actor, now=clock.now())
        if taken is None:
            return
        error = None
        try:
            taken.message.send()
        except (SMTPException, OSError) as problem:
            error = f"{type(problem).__name__}: {problem}"
        services.put_down(actor=actor, taken=taken, error=error, now=clock.now())
