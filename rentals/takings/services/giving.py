"""Keeping a long table of the ledger until it is fetched."""

from datetime import datetime

from rentals.errands import services as errands
from rentals.lib.access import Actor, System
from rentals.lib.writes import write


@write
def keep_entries(*, actor: Actor, taken: errands.Taken, table: str, entries: int, now: datetime) -> None:
    """Keep the table that a worker wrote; the one before it is let go.

    Raises:
        errands.NotWanted: it was called off meanwhile.
    """
    actor.require_system(System.WORK)
    errands.let_go_of_earlier(taken=taken)
    said = f"{entries} entr{'y' if entries == 1 else 'ies'} written."
    errands.leave(taken=taken, result={"csv": table}, words=said, now=now)
