"""The worker's turn at the outbox."""

from smtplib import SMTPException, SMTPRecipientsRefused

from celery import shared_task
from django.conf import settings

from rentals.lib import clock, web
from rentals.lib.access import System, service
from rentals.mail import services

BATCH = 50
REFUSED_FOR_GOOD = 500
"""Replies from here on are permanent. Source: RFC 5321, section 4.2.1."""


@shared_task(name="mail.send")
def send(**_: object) -> None:
    """Send what is due, at most a batch, so that a long outbox cannot starve the watch."""
    actor = service(System.SEND)
    for _turn in range(BATCH):
        taken = services.take_next(actor=actor, now=clock.now())
        if taken is None:
            return
        error, for_good = None, False
        try:
            taken.message.send()
        except (SMTPException, OSError) as problem:
            error, for_good = f"{type(problem).__name__}: {problem}", _is_final(problem)
        services.put_down(actor=actor, taken=taken, error=error, for_good=for_good, now=clock.now())


@shared_task(name="mail.call")
def call(**_: object) -> None:
    """Post the calls that are due, at most a batch."""
    actor = service(System.SEND)
    for _turn in range(BATCH):
        taken = services.take_call(actor=actor, now=clock.now())
        if taken is None:
            return
        error = None
        try:
            web.post_signed(
                taken.url,
                secret=taken.secret,
                event=taken.event,
                body=taken.body,
                user_agent=settings.USER_AGENT,
                private=settings.FETCH_PRIVATE,
                now=clock.wall(),
            )
        except web.Unreachable as problem:
            error = str(problem)
        services.put_down_call(actor=actor, taken=taken, error=error, now=clock.now())


def _is_final(problem: Exception) -> bool:
    """Say whether no recipient will ever be taken."""
    return isinstance(problem, SMTPRecipientsRefused) and all(
        code >= REFUSED_FOR_GOOD for code, _words in problem.recipients.values()
    )
