"""Whether the outbox empties."""

from datetime import datetime

from rentals.mail.models import Call, Letter


def waiting_since(before: datetime) -> datetime | None:
    """Return since when the oldest letter or call waits that was written before a moment: two queries."""
    letters = Letter.objects.filter(sent_at=None, bounced_at=None, written_at__lt=before)
    calls = Call.objects.filter(sent_at=None, hook__stopped_at=None, written_at__lt=before)
    found = (
        letters.order_by("written_at").values_list("written_at", flat=True).first(),
        calls.order_by("written_at").values_list("written_at", flat=True).first(),
    )
    return min((each for each in found if each is not None), default=None)
