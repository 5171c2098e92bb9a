"""Whatever is done in whatever order, an item is never issued in a state that forbids it."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from datetime import datetime

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rentals.bench import services
from rentals.bench.models import Job, KitRecall
from rentals.bench.services import Found
from rentals.bookings.models import KitPart, Outing
from rentals.fleet.models import Cause, HoldBack, Item
from rentals.fleet.states import OUT_OF_USE
from rentals.lib.access import System, service
from rentals.lib.problems import Refused
from tests.rentals.walk import DAY, HOUR, Walk, again

TAGS = ("M1", "T1", "S2")
"""The mast, base and sail of the only rig that fits together."""

tags = st.sampled_from(TAGS)
steps = st.one_of(
    st.tuples(st.sampled_from(["fault", "inspect", "fail", "recall", "withdraw"]), tags),
    st.tuples(
        st.sampled_from(["mend", "release", "lift", "end", "sweep", "kit", "issue", "back"]), st.just("")
    ),
)


class Bench:
    """One step after the other on the shed, refusals taken as they come."""

    def __init__(self, cast: Walk) -> None:
        self.cast = cast
        cast.blow()
        (self.outing,) = cast.booked(cast.rider("Reed Marsh", level="advanced"))

    def take(self, step: str, tag: str) -> None:
        doing: Callable[[str], object] = getattr(self, step)
        with suppress(Refused):
            doing(tag)

    def fault(self, tag: str) -> None:
        self.cast.faulty(tag)

    def inspect(self, tag: str, defects: str = "") -> None:
        services.inspect(
            actor=self.cast.jory,
            item_id=self.cast.shed[tag].pk,
            name="panels, seams, film" if tag == "S2" else "weekly look",
            found=Found(in_order=frozenset(range(9)), defects=defects),
            now=self.cast.now,
        )

    def fail(self, tag: str) -> None:
        self.inspect(tag, "Cracked")

    def recall(self, tag: str) -> None:
        services.recall_kit(
            actor=self.cast.jory,
            station_id=self.cast.tarrow.pk,
            model_id=self.cast.shed[tag].model_id,
            batch="",
            reason="May crack",
            now=self.cast.now,
        )

    def withdraw(self, tag: str) -> None:
        services.withdraw(
            actor=self.cast.boss, item_id=self.cast.shed[tag].pk, reason="Old", now=self.cast.now
        )

    def mend(self, _tag: str) -> None:
        for job in Job.objects.filter(state="open"):
            self.cast.mend(job)

    def release(self, _tag: str) -> None:
        for job in Job.objects.filter(state="mended"):
            self.cast.release(job)

    def lift(self, _tag: str) -> None:
        for held in HoldBack.objects.standing():
            services.release_held(
                actor=self.cast.boss, hold_back_id=held.pk, because="Looked at it", now=self.cast.now
            )

    def end(self, _tag: str) -> None:
        for recall in KitRecall.objects.filter(ended_at=None):
            services.end_recall(
                actor=self.cast.boss, recall_id=recall.pk, because="All well", now=self.cast.now
            )

    def sweep(self, _tag: str) -> None:
        Item.objects.filter(tag__in=TAGS, bought_on=None).update(bought_on=(self.cast.now - 9 * DAY).date())
        services.hold_back_overdue(actor=service(System.HOLD_BACK), now=self.cast.now)

    def kit(self, _tag: str) -> None:
        self.cast.kit(again(self.outing))

    def issue(self, _tag: str) -> None:
        outing = again(self.outing)
        self.cast.issue(outing, kit_no=outing.kit_no)

    def back(self, _tag: str) -> None:
        self.cast.take_back(again(self.outing), after=0 * HOUR)


def forbidden() -> set[int]:
    """Items that must not go to a rider now."""
    out_of_use = Item.objects.filter(state__in=OUT_OF_USE).values_list("pk", flat=True)
    held = HoldBack.objects.standing().values_list("item_id", flat=True)
    faulty = Job.objects.filter(state__in=["open", "mended"]).values_list("item_id", flat=True)
    return {*out_of_use, *held, *faulty}


def with_riders() -> set[int]:
    return set(KitPart.objects.all().with_rider().values_list("item_id", flat=True))


@contextmanager
def taken_back() -> Iterator[None]:
    """Takes a turn back as a test's own transaction would be; writes inside it may be durable."""
    turn = transaction.atomic()
    turn._from_testcase = True  # type: ignore[attr-defined]  # as pytest-django marks its own
    with turn:
        yield
        transaction.set_rollback(True)


@pytest.mark.both_engines
@given(done=st.lists(steps, max_size=14))
@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_an_item_is_never_issued_in_a_state_that_forbids_it(
    db: None, now: datetime, done: list[tuple[str, str]]
) -> None:
    with taken_back():
        cast = Walk(now)
        assert cast.shed
        bench = Bench(cast)
        for step, tag in [*done, ("kit", ""), ("issue", "")]:
            before, out = forbidden(), with_riders()
            bench.take(step, tag)
            assert not (with_riders() - out) & before, step
            in_rack = Item.objects.filter(state__in=["ready", "rigged"]).values_list("pk", flat=True)
            assert not set(in_rack) & forbidden(), step


def test_the_steps_do_lead_to_a_rider(cast: Walk) -> None:
    """Otherwise the property above would hold of nothing."""
    assert cast.shed
    bench = Bench(cast)

    bench.take("kit", "")
    bench.take("issue", "")

    assert cast.shed["M1"].pk in with_riders()
    assert Outing.objects.get(pk=bench.outing.pk).state == "kitted"


@pytest.mark.parametrize("step", ["fault", "fail", "recall", "sweep", "withdraw"])
def test_after_each_of_these_nothing_of_it_is_issued(cast: Walk, step: str) -> None:
    assert cast.shed
    bench = Bench(cast)
    bench.take("kit", "")

    bench.take(step, "M1")
    bench.take("issue", "")

    assert with_riders() == set()


def test_a_hold_by_hand_keeps_it_in(cast: Walk) -> None:
    assert cast.shed
    bench = Bench(cast)
    bench.take("kit", "")
    HoldBack.objects.create(
        item=cast.shed["M1"], cause=Cause.HAND, subject="M1", text="Odd noise", since=cast.now
    )
    Item.objects.filter(tag="M1").update(state="held_back")

    bench.take("issue", "")

    assert with_riders() == set()
