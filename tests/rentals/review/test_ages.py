"""Noting ages at faults: once, only when all hours before are posted, and the same as summing them anew."""

from datetime import datetime

from rentals.bench.models import WearPosting
from rentals.lib.access import System, service
from rentals.review.models import FaultAge
from rentals.review.queries.life import kit_life
from rentals.review.services import note_ages
from rentals.review.tasks import note_ages as task
from tests.rentals.review.past import broke, sailed, used
from tests.rentals.walk import DAY, HOUR, Walk


def noted(cast: Walk, *, now: datetime | None = None, most: int = 500) -> int:
    return note_ages(actor=service(System.NOTE_AGES), now=now or cast.now, most=most)


def faults(cast: Walk) -> list[float]:
    life = kit_life(cast.boss, cast.tarrow, cast.shed["S1"].model_id, now=cast.now)
    return [hours for record in life.records for hours in record.faults_h]


def test_noted_ages_are_those_that_were_summed(cast: Walk) -> None:
    used(cast, cast.shed["S1"], hours=[1, 2, 1.5, 1, 1], faults_after=[1, 3])
    summed = faults(cast)

    assert noted(cast) == 2
    assert faults(cast) == summed == [1.0, 4.5]


def test_each_is_noted_once(cast: Walk) -> None:
    used(cast, cast.shed["S1"], hours=[1, 2, 1.5, 1, 1], faults_after=[1, 3])

    assert [noted(cast, most=1) for _turn in range(3)] == [1, 1, 0]
    assert FaultAge.objects.count() == 2


def test_todays_faults_wait(cast: Walk) -> None:
    sailed(cast, [cast.shed["S1"]], at=cast.now - 3 * HOUR)
    broke(cast.shed["S1"], at=cast.now - HOUR)

    assert (noted(cast), noted(cast, now=cast.now + DAY)) == (0, 1)


def test_a_fault_waits_for_hours_that_are_not_posted_yet(cast: Walk) -> None:
    outing = sailed(cast, [], at=cast.now - 3 * DAY, hours=2)
    broke(cast.shed["S1"], at=cast.now - 2 * DAY)

    assert noted(cast) == 0
    WearPosting.objects.create(
        item=cast.shed["S1"], outing=outing, water_s=7200, weighted_s=7200, salt=True, posted_at=cast.now
    )
    assert noted(cast) == 1
    assert FaultAge.objects.get().posted_s == 7200


def test_the_task_looks_on_the_stations_clock(cast: Walk) -> None:
    used(cast, cast.shed["S1"], hours=[1, 2, 1], faults_after=[1])

    task()

    assert FaultAge.objects.count() == 1
