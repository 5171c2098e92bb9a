"""The worker's turn at sheets of the shed."""

from celery import shared_task

from rentals.errands import services as errands
from rentals.errands.models import ErrandKind
from rentals.errands.tasks import asker, turn_at
from rentals.fleet import queries, services
from rentals.fleet.formats.shed import UnreadableSheet
from rentals.lib import clock
from rentals.lib.access import System, service
from rentals.stations.models import Station


@shared_task(name=errands.TASKS[ErrandKind.TAKE_SHED])
def take_shed(**_: object) -> None:
    """Take in the sheet that waits: look at every row, then write all of them at once."""
    turn_at(ErrandKind.TAKE_SHED, _take_in)


def _take_in(taken: errands.Taken, pulse: errands.Pulse) -> None:
    text = taken.asked["text"]
    try:
        queries.shed_plan(
            Station.objects.get(pk=taken.station_id),
            text,
            lambda done, of: pulse(done, of, f"{done} of {of} rows looked at.", now=clock.now()),
        )
        now = clock.now()
        services.take_shed(actor=asker(taken), station_id=taken.station_id, text=text, taken=taken, now=now)
    except UnreadableSheet as problem:
        errands.fail(actor=service(System.WORK), taken=taken, why=str(problem), now=clock.now())
