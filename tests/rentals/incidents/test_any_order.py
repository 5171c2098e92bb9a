"""Any order of a day's services with incidents, calls and closing rounds among them: nobody is forgotten.

Built on the machine of the day; refusals are part of it. What must hold is looked at by queries of its own.
"""

from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import invariant, rule, run_state_machine_as_test

from rentals.afloat import queries as water
from rentals.afloat import services as afloat
from rentals.afloat.models import LaunchCheck
from rentals.bench.models import Job
from rentals.bookings.models import KitPart, Outing
from rentals.desk import queries as desk
from rentals.fleet.models import Item
from rentals.incidents import queries
from rentals.incidents.models import Closing, IncidentItem, Telling
from tests.rentals.incidents.tell import opened_again, reported, signed
from tests.rentals.test_day_machine import TAGS, Day, seldom

HELD = {"held_back", "on_bench", "withdrawn"}


class DayWithIncidents(Day):
    """The day at Tarrow Lagoon, in which things also go wrong."""

    told: int
    outings = Day.outings

    def __init__(self) -> None:
        super().__init__()
        self.told = 0

    @rule(pk=outings, tags=st.sets(st.sampled_from(TAGS), max_size=2), really=seldom)
    def report_incident(self, pk: int, tags: set[str], really: bool) -> None:
        if not really:
            return
        if self.attempt(lambda: reported(self.cast, *sorted(tags), outing_id=pk)) is not None:
            states = Item.objects.filter(station=self.cast.tarrow, tag__in=tags).values_list("state")
            assert {state for (state,) in states} <= HELD

    @rule(pk=outings)
    def not_ashore_after_all(self, pk: int) -> None:
        self.attempt(lambda: afloat.call_back_afloat(actor=self.cast.ida, outing_id=pk, now=self.cast.now))

    @rule(note=st.sampled_from(["", "Rang the rider"]))
    def sign_off(self, note: str) -> None:
        out = Outing.objects.filter(state="afloat").exists()
        line = self.attempt(lambda: signed(self.cast, note=note))
        assert not (out and line is not None)

    @rule()
    def open_again(self) -> None:
        self.attempt(lambda: opened_again(self.cast))

    # -- what must hold after each step

    @invariant()
    def nobody_afloat_is_missing_from_a_page(self) -> None:
        afloat_now = set(Outing.objects.filter(state="afloat").values_list("pk", flat=True))
        day, now = self.cast.now.date(), self.cast.now
        board = desk.board(self.cast.tarrow, day, now=now)
        closing = queries.closing_of(self.cast.tarrow, day, now=now)
        assert {row.outing.pk for row in board.rows if row.outing.state == "afloat"} == afloat_now
        assert {outing.pk for outing in closing.afloat} == afloat_now
        out = water.afloat_page(self.cast.tarrow, now=now)
        assert {rider.outing.pk for rider in out.riders} == afloat_now

    @invariant()
    def nobody_went_afloat_through_a_shut_gate(self) -> None:
        for check in LaunchCheck.objects.filter(passed=True):
            for gate in check.gates:
                assert gate["passed"] or (not gate["hard"] and check.overrides.get(gate["name"]))
            assert all(point["passed"] for point in check.points)

    @invariant()
    def items_of_incidents_stay_held_back_until_the_bench_releases_them(self) -> None:
        waiting = Job.objects.filter(state__in=["open", "mended"], fault__startswith="Held back: incident")
        assert set(waiting.values_list("item__state", flat=True)) <= HELD
        assert set(IncidentItem.objects.values_list("item", flat=True)) <= set(
            Job.objects.filter(fault__startswith="Held back: incident").values_list("item", flat=True)
        )

    @invariant()
    def what_is_told_only_grows(self) -> None:
        told = Telling.objects.count() + Closing.objects.count()
        assert told >= self.told
        self.told = told

    # -- what the day without incidents says more strictly

    @invariant()
    def nothing_is_with_a_rider_that_is_not_issued(self) -> None:
        out = KitPart.objects.filter(issued_at__isnull=False, returned_at=None, dropped_at=None)
        involved = IncidentItem.objects.values("item")
        assert set(out.exclude(item__in=involved).values_list("item__state", flat=True)) <= {"issued"}
        assert out.filter(item__state="issued").count() == Item.objects.filter(state="issued").count()

    @invariant()
    def nothing_with_an_open_fault_is_in_use(self) -> None:
        faulty: Any = Job.objects.filter(state__in=["open", "mended"]).values_list("item__state", flat=True)
        assert set(faulty) <= HELD


@pytest.mark.both_engines
def test_what_must_never_be_never_is_when_things_go_wrong(db: None, now: Any) -> None:
    DayWithIncidents.start = now
    run_state_machine_as_test(
        DayWithIncidents,
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
