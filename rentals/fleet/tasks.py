"""The worker's turn at sheets of the shed."""

from celery import shared_task

from rentals.errands import services as errands
from rentals.errands.models import ErrandKind
from rentals.fleet import queries, services
from rentals.fleet.formats.shed import UnreadableSheet
from rentals.lib import clock
from rentals.lib.access import System, service
from rentals.lib.problems import Refused
from rentals.people.mapping import actor_of
from rentals.people.models import User
from rentals.stations.models import Station


@shared_task(name=errands.TASKS[ErrandKind.TAKE_SHED])
def take_shed(**_: object) -> None:
    """Take in the sheet that waits: look at every row, then write all of them at once."""
    actor = service(System.WORK)
    taken = errands.take(actor=actor, kind=ErrandKind.TAKE_SHED, now=clock.now())
    if taken is None:
        return
    pulse = errands.Pulse(actor, taken)
    text = taken.asked["text"]
    try:
        queries.shed_plan(
            Station.objects.get(pk=taken.station_id),
            text,
            lambda done, of: pulse(done, of, f"{done} of {of} rows looked at.", now=clock.now()),
        )
        now = clock.now()
        maker = actor_of(User.objects.get(pk=taken.made_by_id), now.date())
        services.take_shed(actor=maker, station_id=taken.station_id, text=text, taken=taken, now=now)
    except errands.NotWanted:
        return
    except UnreadableSheet as problem:
        errands.fail(actor=actor, taken=taken, why=str(problem), now=clock.now())
    except Refused as refused:
        errands.fail(actor=actor, taken=taken, why=refused.sentence, now=clock.now())
