"""The worker's turn at long tables of the ledger."""

from datetime import date

from celery import shared_task

from rentals.errands import services as errands
from rentals.errands.models import ErrandKind
from rentals.errands.tasks import turn_at
from rentals.lib import clock
from rentals.lib.access import System, service
from rentals.stations.models import Station
from rentals.takings import queries, services


@shared_task(name=errands.TASKS[ErrandKind.GIVE_ENTRIES])
def give_entries(**_: object) -> None:
    """Write the table that waits."""
    turn_at(ErrandKind.GIVE_ENTRIES, _write_out)


def _write_out(taken: errands.Taken, pulse: errands.Pulse) -> None:
    station = Station.objects.get(pk=taken.station_id)
    first, last = (date.fromisoformat(taken.asked[name]) for name in ("first", "last"))
    total = queries.count_entries(station, first, last)
    table = queries.entries_as_csv(
        station,
        first,
        last,
        lambda done: pulse(done, total, f"{done} of {total} entries written.", now=clock.now()),
    )
    actor = service(System.WORK)
    services.keep_entries(actor=actor, taken=taken, table=table, entries=total, now=clock.now())
