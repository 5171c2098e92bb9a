"""The worker's turn at the demo of a station of one's own: putting it there, taking it away."""

from collections.abc import Callable

from celery import shared_task

from rentals.desk import queries
from rentals.desk.services import sample
from rentals.errands import services as errands
from rentals.errands.models import ErrandKind
from rentals.lib import clock
from rentals.lib.access import Actor, System, service
from rentals.lib.problems import Refused
from rentals.people.mapping import actor_of
from rentals.people.models import User


@shared_task(name=errands.TASKS[ErrandKind.LOAD_DEMO])
def load_demo(**_: object) -> None:
    """Load the demo that was asked for."""
    _work(
        ErrandKind.LOAD_DEMO,
        "Filling the shed.",
        lambda maker, taken: sample.load_demo(actor=maker, taken=taken, now=clock.now()),
    )


@shared_task(name=errands.TASKS[ErrandKind.REMOVE_DEMO])
def remove_demo(**_: object) -> None:
    """Remove the demo as was asked for."""
    _work(
        ErrandKind.REMOVE_DEMO,
        "Looking what hangs on it.",
        lambda maker, taken: sample.remove_demo(
            actor=maker, taken=taken, made=queries.demo_made(taken.station_id), now=clock.now()
        ),
    )


def _work(kind: ErrandKind, begins: str, do: Callable[[Actor, errands.Taken], None]) -> None:
    """Take an errand of a kind and do it; what it changes is written at once, or not at all."""
    actor = service(System.WORK)
    taken = errands.take(actor=actor, kind=kind, now=clock.now())
    if taken is None:
        return
    try:
        errands.Pulse(actor, taken)(1, 3, begins, now=clock.now())
        maker = actor_of(User.objects.get(pk=taken.made_by_id), clock.now().date())
        do(maker, taken)
    except errands.NotWanted:
        return
    except Refused as refused:
        errands.fail(actor=actor, taken=taken, why=refused.sentence, now=clock.now())
