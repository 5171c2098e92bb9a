"""Ticking rigs off: what stands, what is refused, and that a tick can be taken back."""

import pytest

from rentals.dayplan import services
from rentals.dayplan.models import RigTask
from rentals.fleet.models import RIG_PARTS, Item, Rig
from tests.rentals.dayplan.day import Day, rigs
from tests.rentals.walk import again


@pytest.fixture
def task(day: Day) -> RigTask:
    """The first rig of a plan in force."""
    day.two()
    return rigs(day.accepted())[0]


def tick(day: Day, task: RigTask, *, ticked: bool = True) -> RigTask:
    return services.tick_rig(actor=day.cast.ida, task_id=task.pk, ticked=ticked, now=day.cast.now)


def states(task: RigTask) -> set[str]:
    ids = [getattr(task, f"{part.value}_id") for part in RIG_PARTS]
    return set(Item.objects.filter(pk__in=ids).values_list("state", flat=True))


def test_a_rig_ticked_off_stands_built_of_its_parts(day: Day, task: RigTask) -> None:
    tick(day, task)

    rig = Rig.objects.get(derigged_at=None)
    assert (rig.sail_id, rig.mast_id, rig.base_id) == (task.sail_id, task.mast_id, task.base_id)
    assert states(task) == {"rigged"}
    task.refresh_from_db()
    assert (task.ticked_at, task.ticked_by_id) == (day.cast.now, day.cast.desk.pk)


def test_twice_it_is_ticked_once(day: Day, task: RigTask) -> None:
    tick(day, task)
    tick(day, task)

    assert Rig.objects.count() == 1
    assert Item.objects.get(pk=task.sail_id).rig_ups == 1


def test_taken_back_it_lies_in_the_rack_again(day: Day, task: RigTask) -> None:
    tick(day, task)
    tick(day, task, ticked=False)

    assert states(task) == {"ready"}
    assert not Rig.objects.filter(derigged_at=None).exists()


def test_with_its_rider_it_cannot_be_taken_back(day: Day, task: RigTask) -> None:
    tick(day, task)
    sails = {part.item_id: part.outing for outing in day.cast_outings() for part in day.cast.kit_of(outing)}
    day.cast.issue(again(sails[task.sail_id]))

    with pytest.raises(services.UnableToTick, match="is with a rider"):
        tick(day, task, ticked=False)


def test_a_part_on_the_bench_cannot_be_rigged(day: Day, task: RigTask) -> None:
    Item.objects.filter(pk=task.boom_id).update(state="on_bench")

    with pytest.raises(services.UnableToTick, match=str(task.boom)):
        tick(day, task)

    assert not Rig.objects.exists()


def test_rigs_of_a_plan_no_longer_in_force_are_left(day: Day, task: RigTask) -> None:
    day.accepted()

    with pytest.raises(services.UnableToTick, match="not in force any more"):
        tick(day, task)


def test_a_rig_that_stands_is_counted_on_by_the_next_plan(day: Day, task: RigTask) -> None:
    tick(day, task)

    assert len(rigs(day.accepted())) == 1
