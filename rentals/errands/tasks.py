"""A worker's turn at an errand, whatever its kind."""

from collections.abc import Callable

from rentals.errands import services
from rentals.errands.models import ErrandKind
from rentals.lib import clock
from rentals.lib.access import Actor, System, service
from rentals.lib.problems import Refused
from rentals.people.mapping import actor_of
from rentals.people.models import User


def turn_at(kind: ErrandKind, do: Callable[[services.Taken, services.Pulse], None]) -> None:
    """Take an errand of a kind that waits and do it; what refuses it is told, what called it off ends it."""
    actor = service(System.WORK)
    taken = services.take(actor=actor, kind=kind, now=clock.now())
    if taken is None:
        return
    try:
        do(taken, services.Pulse(actor, taken))
    except services.NotWanted:
        return
    except Refused as refused:
        services.fail(actor=actor, taken=taken, why=refused.sentence, now=clock.now())


def asker(taken: services.Taken) -> Actor:
    """Return who asked for an errand, with what they may today."""
    return actor_of(User.objects.get(pk=taken.made_by_id), clock.now().date())
