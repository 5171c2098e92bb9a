"""Counting posts from outside, exactly, so that nobody floods the desk or the solver."""

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from django.conf import settings
from django.db.models import F

from rentals.home.models import Tally
from rentals.lib.access import Actor, System
from rentals.lib.writes import write


@dataclass(frozen=True, slots=True)
class Limit:
    """At most so many in a span of time from one address."""

    name: str
    most: int
    span: timedelta


LOOKS: Final = Limit("look", 60, timedelta(minutes=10))
POSTS: Final = Limit("post", 20, timedelta(minutes=10))
"""Policy: a family that tries every hour of two days stays below; a program that floods does not."""

EPOCH: Final = datetime(2020, 1, 1, tzinfo=UTC)


@write
def count_post(*, actor: Actor, limit: Limit, address: str, now: datetime) -> bool:
    """Count a post from an address, refused ones too; say whether it is within the limit.

    The row stays locked from the raise to the commit, so that of many at once each gets a number of its own.
    The address is kept as a keyed digest only.
    """
    actor.require_system(System.HOME)
    since = EPOCH + (now - EPOCH) // limit.span * limit.span
    words = f"{settings.SECRET_KEY}:{limit.name}:{address}"
    key = hashlib.sha256(words.encode()).hexdigest()
    mine = Tally.objects.filter(key=key, since=since)
    Tally.objects.bulk_create([Tally(key=key, since=since, count=0)], ignore_conflicts=True)
    mine.update(count=F("count") + 1)
    return mine.get().count <= limit.most
