"""Noting the hours that items had at their faults, so that years of postings need not be summed again."""

from datetime import datetime, timedelta
from typing import Final

from django.db.models import Exists, OuterRef, QuerySet

from rentals.bench.models import Job, WearPosting
from rentals.bookings.models import Outing
from rentals.bookings.states import DROPPED
from rentals.lib.access import Actor, System
from rentals.lib.writes import write
from rentals.review.models import FaultAge
from rentals.review.queries.life import ages, not_noted

SETTLED: Final = timedelta(days=1)
"""How old a fault must be: until then hours of the same day may still be posted. Status: policy."""


@write
def note_ages(*, actor: Actor, now: datetime, most: int = 500) -> int:
    """Note the hours of items at faults whose postings are all there; return how many were noted.

    Safe to run twice: each fault is noted once.
    """
    actor.require_system(System.NOTE_AGES)
    due = ages(
        Job.objects.filter(pk__in=list(_settled(now).order_by("id").values_list("id", flat=True)[:most]))
    )
    rows = [FaultAge(job_id=job_id, posted_s=posted) for job_id, _item, posted in due]
    FaultAge.objects.bulk_create(rows, ignore_conflicts=True)
    return len(rows)


def _settled(now: datetime) -> QuerySet[Job]:
    """Faults without a note before which no outing of the item is still to be posted."""
    posted = WearPosting.objects.filter(outing=OuterRef("pk"))
    open_outings = (
        Outing.objects.filter(
            station=OuterRef("item__station"),
            launched_at__isnull=False,
            launched_at__lte=OuterRef("opened_at"),
        )
        .exclude(state__in=DROPPED)
        .filter(starts_at__gt=now - 7 * SETTLED)
        .filter(~Exists(posted))
    )
    return Job.objects.filter(not_noted(), ~Exists(open_outings), opened_at__lt=now - SETTLED)
