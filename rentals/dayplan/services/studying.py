"""What the shed lacks over many days: asking for the study, doing it a slice at a time, giving it up."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

from django.db import IntegrityError
from django.db.models import F

from rentals.audit import services as journal
from rentals.dayplan import queries
from rentals.dayplan.models import Study, StudyQuerySet
from rentals.dayplan.services.asking import UnableToPlan
from rentals.dayplan.states import STUDY_UNDER_WAY, StudyState
from rentals.lib.access import Act, Actor, System
from rentals.lib.problems import Conflict, NotVisible
from rentals.lib.writes import inside_write, savepoint, write
from rentals.stations.models import Station
from rigging.allot.jsonform import Json

if TYPE_CHECKING:
    # The solver is heavy to load, and pages need none of it.
    from rigging.allot.lacks import Lacks

SILENT_AFTER: Final = timedelta(seconds=120)
"""A worker not heard of for so long is taken for dead. Status: policy, over the time of a slice."""

MOST_DEATHS: Final = 2
"""Workers that may die over a study before it is given up. Status: policy."""

LONGEST: Final = timedelta(days=366)
"""Longest span that is studied at once. Status: policy."""


class UnableToMoveStudy(Conflict):
    """The study is not in a state from which this can be done."""

    slug = "study-state"
    title = "The study has moved on"


@dataclass(frozen=True, slots=True)
class Slice:
    """A study taken by one worker for a while: its plans by day, and the steps done so far."""

    study_id: int
    turn: int
    plans: Mapping[str, int]
    looks: Json
    gains: Json


@write
def ask_for_study(
    *,
    actor: Actor,
    station_id: int,
    first_day: date,
    last_day: date,
    once: UUID | None = None,
    now: datetime,
) -> Study:
    """Ask what one unit more of each stock would have gained over a span of days; a worker reckons it.

    Raises:
        UnableToPlan: a span that is none or too long, or one without a single day plan.
        UnableToMoveStudy: one is under way here already.
    """
    actor.require(Act.STUDY_SHED, station_id=station_id)
    asked = [station_id, first_day, last_day]
    claim = journal.claim(actor=actor, act=Act.STUDY_SHED, key=once, asked=asked, now=now)
    if claim.result_id is not None:
        return Study.objects.get(pk=claim.result_id)
    if not timedelta() <= last_day - first_day <= LONGEST:
        raise UnableToPlan.at("last_day", "Enter a last day on or after the first, within a year of it.")
    days = queries.planned_days(Station.objects.get(pk=station_id), first_day, last_day)
    if not days:
        raise UnableToPlan.at(
            "first_day", "No day plan was asked for in that span; there is nothing to study."
        )
    under_way = "A study is under way here already. Wait for it, or cancel it."
    try:
        with savepoint():
            study = Study.objects.create(
                station_id=station_id,
                first_day=first_day,
                last_day=last_day,
                made_by_id=actor.user_id,
                asked_at=now,
                days=days,
                words="Waiting for the worker.",
            )
    except IntegrityError as error:
        raise UnableToMoveStudy(under_way) from error
    _tell(actor, Act.STUDY_SHED, study, f"Asked what the shed lacked over {len(days)} days", now)
    journal.settle(claim, study.pk)
    return study


@write
def cancel_study(*, actor: Actor, study_id: int, now: datetime) -> Study:
    """Give a study up that is under way.

    Raises:
        UnableToMoveStudy: it is done or given up already.
    """
    study = Study.objects.visible_to(actor).filter(pk=study_id).first()
    if study is None:
        raise NotVisible("There is no such study here.")
    actor.require(Act.STUDY_SHED, station_id=study.station_id)
    mine = Study.objects.filter(pk=study.pk, state__in=STUDY_UNDER_WAY)
    if not mine.update(state=StudyState.CANCELLED, words="Cancelled."):
        raise UnableToMoveStudy(f"The study is {study.state}. Reload the page.")
    _tell(actor, Act.STUDY_SHED, study, "Cancelled the study of what the shed lacks", now)
    study.refresh_from_db()
    return study


@write
def take_slice(*, actor: Actor, now: datetime) -> Slice | None:
    """Take the oldest study that nobody is at; None when there is none.

    A study over which workers have died is given up.
    """
    actor.require_system(System.SOLVE)
    for study in Study.objects.to_do(now - SILENT_AFTER)[:5]:
        deaths = study.deaths + (study.taken_at is not None)
        mine = Study.objects.filter(pk=study.pk, state=study.state, turn=study.turn)
        if deaths > MOST_DEATHS:
            words = "The worker stopped in the middle of it, again and again."
            if mine.update(state=StudyState.FAILED, words=words):
                _tell(actor, System.SOLVE, study, f"The study of what the shed lacks failed: {words}", now)
        elif mine.update(state=StudyState.WORKING, turn=study.turn + 1, taken_at=now, deaths=deaths):
            return Slice(study.pk, study.turn + 1, study.days, study.looks, study.gains)
    return None


@write
def keep_slice(*, actor: Actor, taken: Slice, looks: Json, gains: Json, progress: int, words: str) -> bool:
    """Keep the steps done and leave the study to whoever comes next; False when it is not wanted any more."""
    actor.require_system(System.SOLVE)
    return _mine(taken).update(looks=looks, gains=gains, progress=progress, words=words, taken_at=None) > 0


@write
def finish_study(
    *, actor: Actor, taken: Slice, looks: Json, gains: Json, found: "Lacks", now: datetime
) -> bool:
    """Keep what came of a study; False when it was cancelled or taken over meanwhile."""
    actor.require_system(System.SOLVE)
    result: dict[str, Any] = {
        **asdict(found),
        "short": sum(day["points_short"] > 0 for day in looks.values()),
        "days": len(looks),
    }
    changed = _mine(taken).update(
        state=StudyState.READY,
        looks=looks,
        gains=gains,
        progress=100,
        words="Done.",
        result=result,
        done_at=now,
        taken_at=None,
        turn=F("turn") + 1,
    )
    if changed:
        study = Study.objects.get(pk=taken.study_id)
        _tell(actor, System.SOLVE, study, f"Found what the shed lacked over {len(looks)} days", now)
    return changed > 0


@write
def fail_study(*, actor: Actor, taken: Slice, why: str, now: datetime) -> None:
    """Note why nothing came of a study."""
    actor.require_system(System.SOLVE)
    if _mine(taken).update(state=StudyState.FAILED, words=why[:300], taken_at=None):
        study = Study.objects.get(pk=taken.study_id)
        _tell(actor, System.SOLVE, study, f"The study of what the shed lacks failed: {why}", now)


def _mine(taken: Slice) -> StudyQuerySet:
    return Study.objects.filter(pk=taken.study_id, state=StudyState.WORKING, turn=taken.turn)


@inside_write
def _tell(actor: Actor, act: Act | System, study: Study, text: str, now: datetime) -> None:
    line = journal.Line("study", study.pk, text)
    journal.record(actor=actor, act=act, station_id=study.station_id, lines=[line], now=now)
