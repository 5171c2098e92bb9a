"""The worker's turn at the review."""

from celery import shared_task

from rentals.lib import clock
from rentals.lib.access import System, service
from rentals.review import services


@shared_task(name="review.note_ages")
def note_ages(**_: object) -> None:
    """Note the hours that items had at faults of yesterday and before."""
    services.note_ages(actor=service(System.NOTE_AGES), now=clock.now())
