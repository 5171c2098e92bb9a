"""The worker's turn at the demo of a station of one's own: putting it there, taking it away."""

from collections.abc import Callable

from celery import shared_task

from rentals.desk import queries
from rentals.desk.services import sample
from rentals.errands import services as errands
from rentals.errands.models import ErrandKind
from rentals.errands.tasks import asker, turn_at
from rentals.lib import clock


@shared_task(name=errands.TASKS[ErrandKind.LOAD_DEMO])
def load_demo(**_: object) -> None:
    """Load the demo that was asked for."""
    _work(
        ErrandKind.LOAD_DEMO,
        "Filling the shed.",
        lambda taken: sample.load_demo(actor=asker(taken), taken=taken, now=clock.now()),
    )


@shared_task(name=errands.TASKS[ErrandKind.REMOVE_DEMO])
def remove_demo(**_: object) -> None:
    """Remove the demo as was asked for."""
    _work(
        ErrandKind.REMOVE_DEMO,
        "Looking what hangs on it.",
        lambda taken: sample.remove_demo(
            actor=asker(taken), taken=taken, made=queries.demo_made(taken.station_id), now=clock.now()
        ),
    )


def _work(kind: ErrandKind, begins: str, do: Callable[[errands.Taken], None]) -> None:
    """Do an errand of a kind: what it changes is written at once, or not at all."""

    def work(taken: errands.Taken, pulse: errands.Pulse) -> None:
        pulse(1, 3, begins, now=clock.now())
        do(taken)

    turn_at(kind, work)
