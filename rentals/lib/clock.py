"""The clock on the wall, read at the edges only: services and the core are handed the moment."""

from datetime import datetime, timedelta

from django.conf import settings
from django.utils import timezone


def now() -> datetime:
    """Return the moment, shifted in a demo that was started by night."""
    return timezone.now() + timedelta(seconds=settings.CLOCK_SHIFT_S)


def wall() -> datetime:
    """Return the moment without the demo's shift, for those outside who compare it with their own."""
    return timezone.now()
