"""Any order of services on a small shed: what must never be, never is.

Hypothesis plays desks, instructors and the bench in any order, refusals included. After each step the rows
are looked at by queries of their own.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from django.db import connection, transaction
from django.db.models import F, Sum
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    consumes,
    initialize,
    invariant,
    multiple,
    rule,
    run_state_machine_as_test,
)

from rentals.afloat.models import LaunchCheck
from rentals.audit.models import Entry
from rentals.bench import services as bench
from rentals.bench.models import Job, WearPosting
from rentals.bookings.models import KitPart, Outing
from rentals.fleet.models import Hold, Item, Kind
from rentals.lib.access import System, service
from rentals.lib.problems import Refused
from rentals.rigs import queries
from rentals.takings import services as takings
from tests.rentals.walk import HOUR, MINUTE, Walk, again

TAGS = ("S2", "M1", "B1", "F1", "A1")
"""Items that faults befall."""

TWICE = ("S2", "M1", "D1", "F1", "A1", "W1")
"""Tags of which the shed has one more, so that a fault does not end the day."""

WORN = (Kind.BUOYANCY_AID, Kind.WETSUIT)

seldom = st.integers(0, 3).map(lambda dice: dice == 3)


class Day(RuleBasedStateMachine):
    """A day at Tarrow Lagoon in which staff do anything at any time."""

    start: datetime
    outings = Bundle("outings")
    jobs = Bundle("jobs")

    def __init__(self) -> None:
        super().__init__()
        # Each day is taken back as a test's own transaction would be; writes inside it may be durable.
        self.day = transaction.atomic()
        self.day._from_testcase = True  # type: ignore[attr-defined]
        self.day.__enter__()
        self.cast = Walk(self.start)
        self.entries = 0
        self.refused = 0

    def teardown(self) -> None:
        connection.check_constraints()
        transaction.set_rollback(True)
        self.day.__exit__(None, None, None)

    def attempt(self, do: Callable[[], Any]) -> Any:
        """Do it, or be told why not; a minute passes either way."""
        self.cast.now += MINUTE
        try:
            return do()
        except Refused:
            self.refused += 1
            return None

    @initialize(target=outings)
    def open_the_station(self) -> Any:
        for like in TWICE:
            self.cast.one_more(f"{like}b", like=like)
        self.cast.blow()
        self.cast.watch_the_beach()
        return multiple(*(self.promise(hour) for hour in (10, 13)))

    def promise(self, hour: int, *, level: str = "advanced", signed: bool = True) -> int | None:
        rider = self.cast.rider("Ada Harle", level=level, waiver_signed_at=self.start if signed else None)
        start = self.cast.at(hour, 30)
        booking = self.attempt(lambda: self.cast.book(rider, starts_at=start, ends_at=start + 2 * HOUR))
        return None if booking is None else Outing.objects.get(booking=booking).pk

    @rule(
        target=outings,
        hour=st.integers(9, 15),
        level=st.sampled_from(["advanced", "beginner"]),
        signed=st.booleans(),
    )
    def book(self, hour: int, level: str, signed: bool) -> Any:
        made = self.promise(hour, level=level, signed=signed)
        return multiple() if made is None else made

    @rule(pk=outings)
    def see_through(self, pk: int) -> None:
        """Take an outing from wherever it is to its end."""
        self.go_on(pk, 7)

    @rule(pk=outings, steps=st.integers(2, 6))
    def go_on(self, pk: int, steps: int) -> None:
        """Take the usual next steps of an outing."""
        for _step in range(steps):
            outing = again(Outing.objects.get(pk=pk))
            if outing.state == "booked":
                self.take_the_advice(outing)
            elif outing.state == "kitted" and not self.cast.still_out(outing):
                self.issue(pk)
            elif outing.state == "kitted":
                self.look_over(pk, careful=True, launch=False)
            elif outing.state == "cleared":
                self.let_go(pk)
            elif outing.state == "afloat":
                self.land(pk, 30)
            elif outing.state == "ashore":
                self.attempt(lambda: self.cast.take_back(outing, after=timedelta()))  # noqa: B023

    def take_the_advice(self, outing: Outing) -> None:
        found = queries.offers(outing, now=self.cast.now)
        if found.fitting and found.boards and all(found.worn[kind] for kind in WORN):
            worn = {kind: found.worn[kind][0].pk for kind in WORN}
            best, board = found.fitting[0].item, found.boards[0].item
            self.attempt(lambda: self.cast.kit(outing, sail_id=best.pk, board_id=board.pk, worn=worn))

    @rule(pk=outings, sail=st.sampled_from(["S1", "S2"]), reason=st.sampled_from(["", "Asked for it"]))
    def choose_kit(self, pk: int, sail: str, reason: str) -> None:
        outing = Outing.objects.get(pk=pk)
        self.attempt(lambda: self.cast.kit(outing, sail_id=self.cast.shed[sail].pk, override_reason=reason))

    @rule(pk=outings)
    def issue(self, pk: int) -> None:
        outing = again(Outing.objects.get(pk=pk))
        self.attempt(lambda: self.cast.issue(outing, kit_no=outing.kit_no))

    @rule(pk=outings, careful=st.booleans(), launch=st.booleans())
    def look_over(self, pk: int, careful: bool, launch: bool) -> None:
        outing = again(Outing.objects.get(pk=pk))
        missed = () if careful else ("board.hull",)
        self.attempt(lambda: self.cast.look_over(outing, open_points=missed, launch=launch))

    @rule(pk=outings)
    def let_go(self, pk: int) -> None:
        outing = Outing.objects.get(pk=pk)
        self.attempt(lambda: self.cast.launch(outing))

    @rule(pk=outings, minutes=st.integers(1, 90))
    def land(self, pk: int, minutes: int) -> None:
        outing = Outing.objects.get(pk=pk)
        self.attempt(lambda: self.cast.land(outing, after=timedelta()))
        self.cast.now += minutes * MINUTE

    @rule(target=jobs, pk=outings, fault=st.sampled_from(["", *TAGS]), rigged=st.booleans())
    def take_back(self, pk: int, fault: str, rigged: bool) -> Any:
        outing = Outing.objects.get(pk=pk)
        before = set(Job.objects.values_list("pk", flat=True))
        self.attempt(
            lambda: self.cast.take_back(
                outing, faults={fault: "Torn"}, stays_rigged=rigged, after=timedelta()
            )
        )
        return multiple(*(set(Job.objects.values_list("pk", flat=True)) - before))

    @rule(pk=outings, missed=st.booleans(), really=seldom)
    def call_off(self, pk: int, missed: bool, really: bool) -> None:
        if not really:
            return
        self.attempt(
            lambda: takings.cancel_outing(
                actor=self.cast.ida, outing_id=pk, missed=missed, reason="Ill", now=self.cast.now
            )
        )

    @rule(target=jobs, tag=st.sampled_from(TAGS), really=seldom)
    def report(self, tag: str, really: bool) -> Any:
        job = self.attempt(lambda: self.cast.faulty(tag)) if really else None
        return multiple() if job is None else job.pk

    @rule(pk=jobs)
    def mend(self, pk: int) -> None:
        self.attempt(lambda: self.cast.mend(Job.objects.get(pk=pk)))

    @rule(pk=consumes(jobs))
    def release(self, pk: int) -> None:
        self.attempt(lambda: self.cast.release(Job.objects.get(pk=pk)))

    @rule(tag=st.sampled_from(TAGS), really=seldom)
    def hold_back(self, tag: str, really: bool) -> None:
        """What no service of this desk does yet: somebody puts an item aside by hand."""
        if not really:
            return
        Item.objects.filter(tag=tag, state__in=["ready", "rigged"]).update(state="held_back")

    @rule()
    def post_wear(self) -> None:
        bench.post_wear(actor=service(System.POST_WEAR), now=self.cast.now)

    # -- what must hold after each step

    @invariant()
    def nobody_is_afloat_without_a_passed_check_of_their_kit(self) -> None:
        passed = LaunchCheck.objects.filter(passed=True).values_list("outing_id", "kit_no")
        afloat = Outing.objects.filter(launched_at__isnull=False).values_list("pk", "kit_no")
        assert set(afloat) <= set(passed)

    @invariant()
    def nothing_is_with_a_rider_that_is_not_issued(self) -> None:
        out = KitPart.objects.filter(issued_at__isnull=False, returned_at=None, dropped_at=None)
        assert set(out.values_list("item__state", flat=True)) <= {"issued"}
        assert out.count() == Item.objects.filter(state="issued").count()

    @invariant()
    def nothing_with_an_open_fault_is_in_use(self) -> None:
        faulty = Job.objects.filter(state__in=["open", "mended"]).values_list("item__state", flat=True)
        assert set(faulty) <= {"on_bench"}

    @invariant()
    def nothing_is_stuck_on_the_bench_without_a_fault(self) -> None:
        unfinished = Job.objects.filter(state__in=["open", "mended"]).values("item")
        assert not Item.objects.filter(state="on_bench").exclude(pk__in=unfinished).exists()

    @invariant()
    def no_two_live_holds_of_an_item_meet(self) -> None:
        live = Hold.objects.filter(live=True).order_by("item_id", "starts_at")
        spans = list(live.values_list("item_id", "starts_at", "ends_at"))
        for (item, _start, end), (other, start, _end) in pairwise(spans):
            assert item != other or end <= start

    @invariant()
    def the_journal_only_grows(self) -> None:
        entries = Entry.objects.count()
        assert entries >= self.entries
        self.entries = entries

    @invariant()
    def hours_are_neither_made_nor_lost(self) -> None:
        posted = WearPosting.objects.aggregate(total=Sum("water_s"))["total"] or 0
        assert (Item.objects.aggregate(total=Sum("water_s"))["total"] or 0) == posted
        worn = sum(
            bench.water_s(outing) * KitPart.objects.filter(outing=outing, issued_at__isnull=False).count()
            for outing in Outing.objects.filter(pk__in=WearPosting.objects.values("outing"))
        )
        assert worn == posted

    @invariant()
    def an_outing_over_or_called_off_keeps_nothing(self) -> None:
        over = Outing.objects.filter(state__in=["closed", "cancelled", "no_show"])
        kept = KitPart.objects.filter(outing__in=over, dropped_at=None, returned_at=None)
        assert not kept.exists()

    @invariant()
    def nobody_comes_ashore_before_going_out(self) -> None:
        assert not Outing.objects.filter(ashore_at__lt=F("launched_at")).exists()


@pytest.mark.both_engines
def test_what_must_never_be_never_is(db: None, now: datetime) -> None:
    Day.start = now
    run_state_machine_as_test(
        Day,
        settings=settings(
            max_examples=12,
            stateful_step_count=30,
            deadline=None,
            derandomize=True,
            # Shrinking would replay whole days for minutes.
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        ),
    )
