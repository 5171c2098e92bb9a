"""Asking for an errand, calling it off; the worker's side: taking it, telling how far, leaving a result."""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from time import perf_counter
from typing import Any, Final
from uuid import UUID

from celery import current_app as worker
from django.db import IntegrityError, transaction
from kombu.exceptions import OperationalError

from rentals.audit import services as journal
from rentals.errands.models import Errand, ErrandKind, ErrandQuerySet
from rentals.errands.states import UNDER_WAY, ErrandState
from rentals.lib.access import Actor, System
from rentals.lib.problems import Conflict, NotVisible
from rentals.lib.writes import inside_write, savepoint, write

SILENT_AFTER: Final = timedelta(seconds=60)
"""A worker not heard of for so long is taken for dead. Status: policy."""

MOST_TRIES: Final = 2
"""Workers that may die over an errand before it is given up. Status: policy."""

CALL_HOLDS: Final = timedelta(seconds=60)
BEAT_S: Final = 1.0

TASKS: Final[Mapping[ErrandKind, str]] = {
    ErrandKind.TAKE_SHED: "fleet.take_shed",
    ErrandKind.GIVE_ENTRIES: "takings.give_entries",
    ErrandKind.LOAD_DEMO: "desk.load_demo",
    ErrandKind.REMOVE_DEMO: "desk.remove_demo",
}
"""The task that does each kind, where what it does is known."""


class UnableToMoveErrand(Conflict):
    """The errand is not in a state from which this can be done."""

    slug = "errand-state"
    title = "The work has moved on"


class NotWanted(Exception):
    """The errand was called off, or another worker has taken it over."""


@dataclass(frozen=True, slots=True)
class Taken:
    """An errand taken by one worker; another try of it has another number."""

    errand_id: int
    tries: int
    station_id: int
    made_by_id: int
    asked: Any


@write
def ask_for(
    *, actor: Actor, station_id: int, kind: ErrandKind, asked: Any, once: UUID | None = None, now: datetime
) -> Errand:
    """Ask for an errand; a worker does it.

    Raises:
        UnableToMoveErrand: one of the kind is under way at this station.
    """
    actor.require(kind.act, station_id=station_id)
    claim = journal.claim(actor=actor, act=kind.act, key=once, asked=[station_id, kind, asked], now=now)
    if claim.result_id is not None:
        return Errand.objects.get(pk=claim.result_id)
    try:
        with savepoint():
            errand = Errand.objects.create(
                station_id=station_id,
                kind=kind,
                made_by_id=actor.person_id,
                asked_at=now,
                asked=asked,
                words="Waiting for the worker.",
            )
    except IntegrityError as error:
        said = "The same is under way here already. Wait for it, or call it off."
        raise UnableToMoveErrand(said) from error
    _tell(actor, errand, f"{kind.label}: asked for", now)
    journal.settle(claim, errand.pk)
    transaction.on_commit(lambda: _call_worker(kind))
    return errand


@write
def call_off(*, actor: Actor, errand_id: int, now: datetime) -> Errand:
    """Call an errand off that is under way: nothing of it is kept.

    Raises:
        UnableToMoveErrand: it is over already.
    """
    errand = Errand.objects.visible_to(actor).filter(pk=errand_id).defer("asked").first()
    if errand is None:
        raise NotVisible("There is no such work here.")
    actor.require(ErrandKind(errand.kind).act, station_id=errand.station_id)
    mine = Errand.objects.filter(pk=errand.pk, state__in=UNDER_WAY)
    if not mine.update(state=ErrandState.CANCELLED, words="Called off. Nothing was changed.", asked={}):
        raise UnableToMoveErrand(f"It is {errand.state}. Reload the page.")
    _tell(actor, errand, f"{errand.get_kind_display()}: called off", now)
    errand.refresh_from_db(fields=["state", "words"])
    return errand


@write
def take(*, actor: Actor, kind: ErrandKind, now: datetime) -> Taken | None:
    """Take the oldest errand of a kind that nobody is at; None when there is none.

    One over which workers have died twice is given up.
    """
    actor.require_system(System.WORK)
    for errand in Errand.objects.to_do(kind, now - SILENT_AFTER)[:5]:
        mine = Errand.objects.filter(pk=errand.pk, state=errand.state, tries=errand.tries)
        if errand.tries >= MOST_TRIES:
            words = "The worker stopped in the middle of it, twice. Nothing was changed."
            mine.update(state=ErrandState.FAILED, words=words, asked={})
        elif mine.update(
            state=ErrandState.WORKING, tries=errand.tries + 1, heartbeat_at=now, progress=0, words="Begun."
        ):
            return Taken(errand.pk, errand.tries + 1, errand.station_id, errand.made_by_id, errand.asked)
    return None


@write
def beat(*, actor: Actor, taken: Taken, progress: int, words: str, now: datetime) -> bool:
    """Note how far an errand is; False when it is not wanted from this worker any more."""
    actor.require_system(System.WORK)
    return _mine(taken).update(heartbeat_at=now, progress=min(progress, 99), words=words[:300]) > 0


@inside_write
def leave(*, taken: Taken, result: Any, words: str, now: datetime) -> None:
    """Leave what came of an errand, in the transaction of what it changed: both, or neither.

    Raises:
        NotWanted: it was called off meanwhile; the caller lets it through, so that nothing is kept.
    """
    done = _mine(taken).update(
        state=ErrandState.DONE, progress=100, words=words[:300], result=result, asked={}, done_at=now
    )
    if not done:
        raise NotWanted


@inside_write
def let_go_of_earlier(*, taken: Taken) -> None:
    """Keep no more of what earlier errands of the kind left at the station: a file is fetched once."""
    kind = Errand.objects.filter(pk=taken.errand_id).values("kind")
    earlier = Errand.objects.filter(station_id=taken.station_id, kind__in=kind, state=ErrandState.DONE)
    earlier.update(result={})


@write
def fail(*, actor: Actor, taken: Taken, why: str, now: datetime) -> None:
    """Note why nothing came of an errand."""
    actor.require_system(System.WORK)
    _mine(taken).update(state=ErrandState.FAILED, words=why[:300], asked={})


class Pulse:
    """What a worker tells on the way: how far it is, about once a second."""

    def __init__(self, actor: Actor, taken: Taken) -> None:
        self.actor, self.taken = actor, taken
        self._last = -BEAT_S

    def __call__(self, done: int, of: int, words: str, *, now: datetime) -> None:
        """Tell how far it is, unless that was told just now.

        Raises:
            NotWanted: the errand is not wanted any more.
        """
        passed = perf_counter()
        if passed - self._last < BEAT_S:
            return
        self._last = passed
        progress = 100 * done // max(of, 1)
        if not beat(actor=self.actor, taken=self.taken, progress=progress, words=words, now=now):
            raise NotWanted


def _mine(taken: Taken) -> ErrandQuerySet:
    return Errand.objects.filter(pk=taken.errand_id, state=ErrandState.WORKING, tries=taken.tries)


def _call_worker(kind: ErrandKind) -> None:
    """Say "look now"; when nobody listens, the periodic look finds the row."""
    with suppress(OperationalError, OSError):
        worker.send_task(TASKS[kind], expires=CALL_HOLDS.total_seconds(), retry=False)


@inside_write
def _tell(actor: Actor, errand: Errand, text: str, now: datetime) -> None:
    line = journal.Line("station", errand.station_id, text)
    act = ErrandKind(errand.kind).act
    journal.record(actor=actor, act=act, station_id=errand.station_id, lines=[line], now=now)
