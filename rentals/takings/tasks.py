"""The worker's turn at long tables of the ledger."""

from datetime import date

from celery import shared_task

from rentals.errands import services as errands
from rentals.errands.models import ErrandKind
from rentals.lib import clock
from rentals.lib.access import System, service
from rentals.stations.models import Station
from rentals.takings import queries, services


@shared_task(name=errands.TASKS[ErrandKind.GIVE_ENTRIES])
def give_entries(**_: object) -> None:
    """Write the table that waits."""
    actor = service(System.WORK)
    taken = errands.take(actor=actor, kind=ErrandKind.GIVE_ENTRIES, now=clock.now())
    if taken is None:
        return
    station = Station.objects.get(pk=taken.station_id)
    first, last = (date.fromisoformat(taken.asked[name]) for name in ("first", "last"))
    total = queries.count_entries(station, first, last)
    pulse = errands.Pulse(actor, taken)
    try:
        table = queries.entries_as_csv(
            station,
            first,
            last,
            lambda done: pulse(done, total, f"{done} of {total} entries written.", now=clock.now()),
        )
        services.keep_entries(actor=actor, taken=taken, table=table, entries=total, now=clock.now())
    except errands.NotWanted:
        return
