"""Letting go of what was kept long enough, kind by kind."""

from contextlib import suppress
from datetime import datetime
from typing import Final

from rentals.lib.access import Actor, System
from rentals.lib.writes import write
from rentals.privacy import queries
from rentals.privacy.services.erasing import UnableToErase, erase

DELETED: Final = ("tallies", "sessions", "marks", "links")
ERASED: Final = ("asked", "riders")
BATCH: Final = 20
"""Riders erased in one run: each is sought in every table. Policy."""


@write
def let_go(*, actor: Actor, now: datetime, dry: bool = False) -> dict[str, int]:
    """Let go of what is due and return how many of each kind; a dry run counts and changes nothing."""
    actor.require_system(System.RETAIN)
    due = queries.counts(now)
    if dry:
        return due
    for key in DELETED:
        queries.overdue(key, now).delete()
    queries.overdue("letters", now).update(body="", calendar="")
    for key in ERASED:
        for rider in list(queries.overdue(key, now).order_by("id")[:BATCH]):
            with suppress(UnableToErase):
                erase(actor=actor, act=System.RETAIN, rider=rider, now=now)
    return due
