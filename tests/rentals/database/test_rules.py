"""Every rule that migrations lay, tried around the Python code; and that none was lost on the way.

One class a rule, which names it; `test_every_rule_is_tried_here` compares the names with the migrations.
"""

import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any, ClassVar
from uuid import uuid4

import pytest
from django.db import connection, models
from django.db.migrations.loader import MigrationLoader

from rentals.afloat.models import (
    Acknowledgement,
    BeachLog,
    Escalation,
    HeadCount,
    LateCheck,
    LateSettled,
    LaunchCheck,
    LogCorrection,
    PhaseChange,
    Sighting,
)
from rentals.audit.models import Entry
from rentals.bench.models import Inspection, Job, JobLine, ReturnCheck, ReturnLine, RigWear, WearPosting
from rentals.bench.states import MOVES as JOB_MOVES
from rentals.bench.states import JobState
from rentals.bookings.models import KitPart, Outing
from rentals.bookings.states import MOVES as OUTING_MOVES
from rentals.bookings.states import OutingState
from rentals.checklists.models import CheckList
from rentals.fleet.models import Hold, HoldBack, Item, Kind
from rentals.fleet.states import MOVES as ITEM_MOVES
from rentals.fleet.states import ItemState
from rentals.lib.rules import MAX_SPAN_DAYS, Rule
from rentals.people.models import User
from rentals.rigs.models import Card
from rentals.stations.models import Station
from tests.rentals.database.rows import HOUR, NOON, Rows, copied, inserted, refused_by, tried_elsewhere

SECOND = timedelta(seconds=1)
DAY = timedelta(days=1)

MEETING = {
    "the same span": (NOON, NOON + HOUR),
    "inside": (NOON + HOUR / 4, NOON + HOUR / 2),
    "around": (NOON - HOUR, NOON + 2 * HOUR),
    "over its start by a second": (NOON - HOUR, NOON + SECOND),
    "over its end by a second": (NOON + HOUR - SECOND, NOON + 2 * HOUR),
    "over its end by less than a second": (NOON + HOUR - SECOND / 1000, NOON + 2 * HOUR),
}
APART = {
    "it ends as the other starts": (NOON - HOUR, NOON),
    "it starts as the other ends": (NOON + HOUR, NOON + 2 * HOUR),
    "a day later": (NOON + DAY, NOON + DAY + HOUR),
}
meeting = pytest.mark.parametrize(("start", "end"), MEETING.values(), ids=MEETING)
apart = pytest.mark.parametrize(("start", "end"), APART.values(), ids=APART)


def laid(*, elsewhere: bool = True) -> Iterator[Rule]:
    """Every rule that a migration of ours lays, or only those that are tried here."""
    loader = MigrationLoader(None)
    in_turn = dict.fromkeys(
        node for leaf in sorted(loader.graph.leaf_nodes()) for node in loader.graph.forwards_plan(leaf)
    )
    for node in in_turn:
        if elsewhere or not tried_elsewhere(node[0]):
            operations = loader.disk_migrations[node].operations
            yield from (operation for operation in operations if isinstance(operation, Rule))


class TestItemHeldOnce:
    rule = "item_held_once"

    @meeting
    def test_a_second_hold_that_meets_the_first_is_refused(
        self, rows: Rows, start: datetime, end: datetime
    ) -> None:
        first = rows.hold(rows.item())

        with refused_by(self.rule):
            inserted(copied(first, starts_at=start, ends_at=end))

    @apart
    def test_a_second_hold_apart_from_the_first_is_taken(
        self, rows: Rows, start: datetime, end: datetime
    ) -> None:
        first = rows.hold(rows.item())

        inserted(copied(first, starts_at=start, ends_at=end))

        assert Hold.objects.filter(item=first.item, live=True).count() == 2

    def test_the_longest_hold_is_seen_to_its_last_second(self, rows: Rows) -> None:
        longest = rows.hold(rows.item(), NOON, NOON + MAX_SPAN_DAYS * DAY)

        with refused_by(self.rule):
            inserted(copied(longest, starts_at=longest.ends_at - SECOND, ends_at=longest.ends_at + HOUR))
        inserted(copied(longest, starts_at=longest.ends_at, ends_at=longest.ends_at + HOUR))

    def test_a_hold_let_go_leaves_the_item_free(self, rows: Rows) -> None:
        first = rows.hold(rows.item(), live=False)

        inserted(copied(first, live=True))

        assert Hold.objects.filter(live=True).count() == 1

    def test_another_item_is_not_meant(self, rows: Rows) -> None:
        first = rows.hold(rows.item())

        inserted(copied(first, item_id=rows.item().pk))

        assert Hold.objects.filter(live=True).count() == 2

    def test_a_hold_is_not_brought_back_over_another(self, rows: Rows) -> None:
        gone = rows.hold(rows.item(), live=False)
        rows.hold(gone.item)

        with refused_by(self.rule):
            Hold.objects.filter(pk=gone.pk).update(live=True)

    def test_a_hold_is_not_moved_over_another(self, rows: Rows) -> None:
        first = rows.hold(rows.item())
        later = rows.hold(first.item, NOON + HOUR, NOON + 2 * HOUR)

        with refused_by(self.rule):
            Hold.objects.filter(pk=later.pk).update(starts_at=NOON + HOUR - SECOND)

    def test_a_hold_is_not_passed_to_an_item_that_is_held(self, rows: Rows) -> None:
        first, other = rows.hold(rows.item()), rows.hold(rows.item())

        with refused_by(self.rule):
            Hold.objects.filter(pk=other.pk).update(item=first.item)

    def test_a_hold_may_be_lengthened_over_itself(self, rows: Rows) -> None:
        first = rows.hold(rows.item())

        Hold.objects.filter(pk=first.pk).update(ends_at=NOON + 2 * HOUR)

        assert Hold.objects.get(pk=first.pk).ends_at == NOON + 2 * HOUR


class TestRiderOutOnce:
    rule = "rider_out_once"

    @meeting
    def test_a_second_outing_that_meets_the_first_is_refused(
        self, rows: Rows, start: datetime, end: datetime
    ) -> None:
        first = rows.outing()

        with refused_by(self.rule):
            inserted(copied(first, starts_at=start, ends_at=end))

    @apart
    def test_a_second_outing_apart_from_the_first_is_taken(
        self, rows: Rows, start: datetime, end: datetime
    ) -> None:
        first = rows.outing()

        inserted(copied(first, starts_at=start, ends_at=end))

        assert Outing.objects.filter(rider=first.rider).count() == 2

    @pytest.mark.parametrize("state", ["cancelled", "no_show"])
    def test_an_outing_called_off_leaves_the_rider_free(self, rows: Rows, state: str) -> None:
        first = rows.outing(state=state)

        inserted(copied(first, state="booked"))

        assert Outing.objects.count() == 2

    def test_an_outing_that_is_over_still_counts(self, rows: Rows) -> None:
        first = rows.outing(state="closed", closed_at=NOON)

        with refused_by(self.rule):
            inserted(copied(first, state="booked"))

    def test_an_outing_is_not_passed_to_a_rider_who_is_out(self, rows: Rows) -> None:
        first, other = rows.outing(), rows.outing(rider=rows.another_rider())

        with refused_by(self.rule):
            Outing.objects.filter(pk=other.pk).update(rider=first.rider)


def pairs(states: type[ItemState | OutingState | JobState]) -> list[tuple[str, str]]:
    return [(old.value, new.value) for old in states for new in states if old is not new]


class TestItemMoves:
    rule = "item_moves"
    listed = frozenset((source.value, target.value) for (source, _), target in ITEM_MOVES.items())

    @pytest.mark.parametrize(("old", "new"), pairs(ItemState))
    def test_an_item_moves_only_as_its_table_says(self, rows: Rows, old: str, new: str) -> None:
        item = rows.item(state=old)

        if (old, new) in self.listed:
            Item.objects.filter(pk=item.pk).update(state=new)
            assert Item.objects.get(pk=item.pk).state == new
        else:
            with refused_by(self.rule):
                Item.objects.filter(pk=item.pk).update(state=new)

    @pytest.mark.parametrize("state", ["held_back", "on_bench", "withdrawn"])
    def test_the_table_never_issues_what_must_not_go_out(self, state: str) -> None:
        assert (state, "issued") not in self.listed
        assert (state, "rigged") not in self.listed

    def test_nothing_comes_back_from_being_withdrawn(self) -> None:
        assert {old for old, _new in self.listed} == set(ItemState) - {"withdrawn"}


class TestOutingMoves:
    rule = "outing_moves"
    listed = frozenset((source.value, target.value) for (source, _), target in OUTING_MOVES.items())

    @pytest.mark.parametrize(("old", "new"), pairs(OutingState))
    def test_an_outing_moves_only_as_its_table_says(self, rows: Rows, old: str, new: str) -> None:
        outing = in_any_state(rows, old)

        if (old, new) in self.listed:
            Outing.objects.filter(pk=outing.pk).update(state=new)
            assert Outing.objects.get(pk=outing.pk).state == new
        else:
            with refused_by(self.rule):
                Outing.objects.filter(pk=outing.pk).update(state=new)

    def test_the_table_lets_nobody_afloat_but_those_cleared_or_wrongly_noted_ashore(self) -> None:
        assert {old for old, new in self.listed if new == "afloat"} == {"cleared", "ashore"}

    def test_the_table_closes_nothing_that_is_afloat(self) -> None:
        assert {new for old, new in self.listed if old == "afloat"} == {"ashore"}


def in_any_state(rows: Rows, state: str) -> Outing:
    """An outing with every time and check that any state asks for; checks first, as keys wait for the end."""
    rows.check(Outing(pk=1_000_000))
    times = {"launched_at": NOON, "ashore_at": NOON + HOUR, "closed_at": NOON + HOUR}
    return rows.outing(pk=1_000_000, state=state, **times)


class TestJobMoves:
    rule = "job_moves"
    listed = frozenset((source.value, target.value) for (source, _), target in JOB_MOVES.items())

    @pytest.mark.parametrize(("old", "new"), pairs(JobState))
    def test_a_job_moves_only_as_its_table_says(self, rows: Rows, old: str, new: str) -> None:
        job = rows.job(rows.item(), state=old, work="New clamp", mended_at=NOON, finished_at=NOON)

        if (old, new) in self.listed:
            Job.objects.filter(pk=job.pk).update(state=new)
            assert Job.objects.get(pk=job.pk).state == new
        else:
            with refused_by(self.rule):
                Job.objects.filter(pk=job.pk).update(state=new)


class TestKitOutIsIssued:
    rule = "kit_out_is_issued"

    @pytest.mark.parametrize("state", [state for state in ItemState if state is not ItemState.ISSUED])
    def test_an_item_in_another_state_is_not_handed_out(self, rows: Rows, state: str) -> None:
        part = rows.part(rows.outing(), rows.item(state=state))

        with refused_by(self.rule):
            KitPart.objects.filter(pk=part.pk).update(issued_at=NOON)

    def test_nor_is_it_written_as_handed_out_already(self, rows: Rows) -> None:
        item = rows.item()

        with refused_by(self.rule):
            inserted(
                KitPart(outing=rows.outing(), item=item, hold=rows.hold(item), part="sail", issued_at=NOON)
            )

    def test_an_issued_item_is_handed_out(self, rows: Rows) -> None:
        part = rows.part(rows.outing(), rows.item(state="issued"))

        KitPart.objects.filter(pk=part.pk).update(issued_at=NOON)

        assert KitPart.objects.get(pk=part.pk).issued_at == NOON

    def test_what_came_back_may_be_in_any_state(self, rows: Rows) -> None:
        item = rows.item(state="on_bench")

        part = rows.part(rows.outing(), item, issued_at=NOON, returned_at=NOON + HOUR)

        assert part.pk is not None


class TestKitHeldForItsItem:
    rule = "kit_held_for_its_item"

    def test_a_part_is_held_by_a_hold_of_its_own_item(self, rows: Rows) -> None:
        item, other = rows.item(), rows.item()

        with refused_by(self.rule):
            rows.part(rows.outing(), item, hold=rows.hold(other))

    def test_a_part_is_not_swapped_under_its_hold(self, rows: Rows) -> None:
        part = rows.part(rows.outing(), rows.item())

        with refused_by(self.rule):
            KitPart.objects.filter(pk=part.pk).update(item=rows.item())


class TestAfloatNeedsPassedCheck:
    rule = "afloat_needs_passed_check"

    @pytest.fixture
    def kitted(self, rows: Rows) -> Outing:
        return rows.outing(state="kitted", kit_no=2)

    def test_without_a_check_nobody_is_cleared(self, kitted: Outing) -> None:
        with refused_by(self.rule):
            Outing.objects.filter(pk=kitted.pk).update(state="cleared")

    def test_a_check_that_failed_does_not_clear(self, rows: Rows, kitted: Outing) -> None:
        rows.check(kitted, kit_no=2, passed=False)

        with refused_by(self.rule):
            Outing.objects.filter(pk=kitted.pk).update(state="cleared")

    def test_a_check_of_the_kit_before_does_not_clear(self, rows: Rows, kitted: Outing) -> None:
        rows.check(kitted, kit_no=1)

        with refused_by(self.rule):
            Outing.objects.filter(pk=kitted.pk).update(state="cleared")

    def test_a_check_of_another_outing_does_not_clear(self, rows: Rows, kitted: Outing) -> None:
        other = rows.outing(NOON + 3 * HOUR, NOON + 4 * HOUR, state="kitted", kit_no=2)
        rows.check(other, kit_no=2)

        with refused_by(self.rule):
            Outing.objects.filter(pk=kitted.pk).update(state="cleared")

    @pytest.mark.parametrize("state", ["cleared", "afloat"])
    def test_nobody_is_written_as_afloat_from_the_start(self, rows: Rows, state: str) -> None:
        with refused_by(self.rule):
            rows.outing(state=state, launched_at=NOON)

    def test_with_a_passed_check_of_this_kit_a_rider_goes(self, rows: Rows, kitted: Outing) -> None:
        rows.check(kitted, kit_no=2)

        Outing.objects.filter(pk=kitted.pk).update(state="cleared")
        Outing.objects.filter(pk=kitted.pk).update(state="afloat", launched_at=NOON)

        assert Outing.objects.get(pk=kitted.pk).state == "afloat"

    def test_the_kit_is_not_swapped_under_a_rider_afloat(self, rows: Rows, kitted: Outing) -> None:
        rows.check(kitted, kit_no=2)
        Outing.objects.filter(pk=kitted.pk).update(state="cleared")
        Outing.objects.filter(pk=kitted.pk).update(state="afloat", launched_at=NOON)

        with refused_by(self.rule):
            Outing.objects.filter(pk=kitted.pk).update(kit_no=3)


class TestReleasedByAnother:
    rule = "released_by_another"

    MENDED: ClassVar[dict[str, Any]] = {"work": "New clamp", "mended_at": NOON, "finished_at": NOON}

    @pytest.mark.parametrize("kind", ["mast", "boom", "base", "extension", "harness", "buoyancy_aid"])
    def test_what_can_hurt_is_not_released_by_who_mended_it(self, rows: Rows, kind: str) -> None:
        job = rows.job(rows.item(Kind(kind), state="on_bench"))
        alone = {**self.MENDED, "mended_by": rows.user, "finished_by": rows.user}
        Job.objects.filter(pk=job.pk).update(state="mended", **alone)

        with refused_by(self.rule):
            Job.objects.filter(pk=job.pk).update(state="released")
        with refused_by(self.rule):
            inserted(copied(job, state="released", **alone))

    def test_another_releases_it(self, rows: Rows) -> None:
        job = rows.job(rows.item(Kind.BOOM, state="on_bench"))
        other = User.objects.create(username="maud")
        Job.objects.filter(pk=job.pk).update(state="mended", **self.MENDED, mended_by=rows.user)

        assert Job.objects.filter(pk=job.pk).update(state="released", finished_by=other) == 1

    def test_a_sail_is_released_by_who_mended_it(self, rows: Rows) -> None:
        alone = {**self.MENDED, "mended_by": rows.user, "finished_by": rows.user}

        assert rows.job(rows.item(), state="released", **alone).pk is not None


class TestItemPriceHasCurrency:
    rule = "item_price_has_currency"

    @pytest.mark.parametrize(
        "wrong",
        [
            {"price": 480},
            {"currency": "EUR"},
            {"price": -1, "currency": "EUR"},
            {"price": 1, "currency": "E"},
        ],
        ids=str,
    )
    def test_a_price_alone_or_below_nothing_is_refused(self, rows: Rows, wrong: dict[str, Any]) -> None:
        item = rows.item()

        with refused_by(self.rule):
            Item.objects.filter(pk=item.pk).update(**wrong)

    def test_both_together_are_taken(self, rows: Rows) -> None:
        assert rows.item(price=480, currency="EUR").pk is not None


class TestNoHeldBackGivenOut:
    rule = "no_held_back_given_out"

    @pytest.mark.parametrize(
        ("old", "new"),
        [("held_back", "ready"), ("issued", "ready"), ("issued", "rigged"), ("ready", "issued")],
    )
    def test_an_item_that_is_held_back_does_not_move_towards_a_rider(
        self, rows: Rows, old: str, new: str
    ) -> None:
        item = rows.item(Kind.BOOM, state=old)
        rows.hold_back(item)

        with refused_by(self.rule):
            Item.objects.filter(pk=item.pk).update(state=new)

    def test_one_that_was_lifted_does_not_hide_another(self, rows: Rows) -> None:
        item = rows.item(Kind.BOOM, state="held_back")
        rows.hold_back(item, lifted_at=NOON, lifted_because="Mended")
        rows.hold_back(item, subject="R-2")

        with refused_by(self.rule):
            Item.objects.filter(pk=item.pk).update(state="ready")

    def test_when_all_are_lifted_it_is_ready_again(self, rows: Rows) -> None:
        item = rows.item(Kind.BOOM, state="held_back")
        rows.hold_back(item, lifted_at=NOON, lifted_because="Mended")

        assert Item.objects.filter(pk=item.pk).update(state="ready") == 1


class TestHoldBackStays:
    rule = "hold_back_stays"

    @pytest.mark.parametrize("column", ["cause", "subject"])
    def test_what_held_it_back_is_not_rewritten(self, rows: Rows, column: str) -> None:
        held = rows.one_of(HoldBack)

        with refused_by(self.rule):
            HoldBack.objects.filter(pk=held.pk).update(**{column: "hand"})

    def test_it_is_lifted_once(self, rows: Rows) -> None:
        held = rows.hold_back(rows.item(), lifted_at=NOON, lifted_because="Mended")

        with refused_by(self.rule):
            HoldBack.objects.filter(pk=held.pk).update(lifted_at=None, lifted_because="")


class TestHoldBackIsKept:
    rule = "hold_back_is_kept"

    def test_it_is_not_deleted(self, rows: Rows) -> None:
        held = rows.one_of(HoldBack)

        with refused_by(self.rule):
            HoldBack.objects.filter(pk=held.pk).delete()


class TestLaunchCheckTickedBefore:
    rule = "launch_check_ticked_before"

    def test_one_ticked_after_it_came_is_refused(self, rows: Rows) -> None:
        check = rows.one_of(LaunchCheck)

        with refused_by(self.rule):
            inserted(copied(check, ticked_at=check.at + SECOND))

    def test_one_ticked_before_it_came_is_taken(self, rows: Rows) -> None:
        check = rows.one_of(LaunchCheck)
        inserted(copied(check, ticked_at=check.at - HOUR))

        assert LaunchCheck.objects.count() == 2


class TestLateCheckTickedBefore:
    rule = "late_check_ticked_before"

    def test_one_ticked_after_it_came_is_refused(self, rows: Rows) -> None:
        late = rows.one_of(LateCheck)

        with refused_by(self.rule):
            inserted(copied(late, once=uuid4(), ticked_at=late.at + SECOND))

    def test_one_ticked_before_it_came_is_taken(self, rows: Rows) -> None:
        late = rows.one_of(LateCheck)
        inserted(copied(late, once=uuid4(), ticked_at=late.at - HOUR))

        assert LateCheck.objects.count() == 2


class TestReturnCheckTickedBefore:
    rule = "return_check_ticked_before"

    def test_one_ticked_after_it_came_is_refused(self, rows: Rows) -> None:
        check = rows.one_of(ReturnCheck)

        with refused_by(self.rule):
            inserted(copied(check, ticked_at=check.at + SECOND))

    def test_one_ticked_before_it_came_is_taken(self, rows: Rows) -> None:
        check = rows.one_of(ReturnCheck)
        inserted(copied(check, ticked_at=check.at - HOUR))

        assert ReturnCheck.objects.count() == 2


class TestWearIsWeighed:
    rule = "wear_is_weighed"

    @pytest.mark.parametrize("missing", [{"weighted_s": None}, {"salt": None}], ids=str)
    def test_wear_without_weight_or_water_is_refused(self, rows: Rows, missing: dict[str, None]) -> None:
        posted = rows.one_of(WearPosting)

        with refused_by(self.rule):
            inserted(copied(posted, item=rows.item(), **missing))

    def test_a_wind_that_nobody_knows_is_taken(self, rows: Rows) -> None:
        inserted(copied(rows.one_of(WearPosting), item=rows.item(), wind_ms=None))

        assert WearPosting.objects.count() == 2


class TestNoFaultGivenOut:
    rule = "no_fault_given_out"

    @pytest.mark.parametrize("state", ["open", "mended"])
    def test_an_item_with_an_unfinished_job_does_not_leave_the_bench(self, rows: Rows, state: str) -> None:
        item = rows.item(Kind.BOOM, state="on_bench")
        rows.job(item, state=state, work="New clamp", mended_at=NOON)

        with refused_by(self.rule):
            Item.objects.filter(pk=item.pk).update(state="ready")

    @pytest.mark.parametrize(("old", "new"), [("ready", "rigged"), ("ready", "issued"), ("rigged", "issued")])
    def test_nor_does_it_move_towards_a_rider(self, rows: Rows, old: str, new: str) -> None:
        item = rows.item(Kind.BOOM, state=old)
        rows.job(item)

        with refused_by(self.rule):
            Item.objects.filter(pk=item.pk).update(state=new)

    def test_one_finished_job_does_not_hide_another(self, rows: Rows) -> None:
        item = rows.item(Kind.BOOM, state="on_bench")
        rows.job(item, state="released", work="New clamp", mended_at=NOON, finished_at=NOON)
        rows.job(item)

        with refused_by(self.rule):
            Item.objects.filter(pk=item.pk).update(state="ready")

    def test_when_all_are_finished_it_is_ready_again(self, rows: Rows) -> None:
        item = rows.item(Kind.BOOM, state="on_bench")
        rows.job(item, state="released", work="New clamp", mended_at=NOON, finished_at=NOON)

        Item.objects.filter(pk=item.pk).update(state="ready")

        assert Item.objects.get(pk=item.pk).state == "ready"

    def test_it_may_be_withdrawn_with_its_fault(self, rows: Rows) -> None:
        item = rows.item(Kind.BOOM, state="on_bench")
        rows.job(item)

        Item.objects.filter(pk=item.pk).update(state="withdrawn")

        assert Item.objects.get(pk=item.pk).state == "withdrawn"


KEPT: list[type[models.Model]] = [
    Entry, Card, LaunchCheck, PhaseChange, BeachLog, ReturnCheck, ReturnLine, WearPosting,
    RigWear, Inspection, JobLine,
    LateCheck, LateSettled, Acknowledgement, Escalation, HeadCount, LogCorrection, Sighting, CheckList,
]  # fmt: skip


@pytest.mark.parametrize("model", KEPT, ids=lambda model: model._meta.db_table)
class TestAppendOnly:
    def test_it_is_not_changed_by_the_orm(self, rows: Rows, model: type[models.Model]) -> None:
        row = rows.one_of(model)
        column = row._meta.concrete_fields[1].attname

        with refused_by(f"{model._meta.db_table}_append_only"):
            model._default_manager.filter(pk=row.pk).update(**{column: getattr(row, column)})

    def test_it_is_not_changed_by_sql(self, rows: Rows, model: type[models.Model]) -> None:
        rows.one_of(model)
        table = model._meta.db_table

        with refused_by(f"{table}_append_only"), connection.cursor() as cursor:
            cursor.execute(f"UPDATE {table} SET id = id")  # noqa: S608 - a table of ours

    def test_it_is_not_deleted(self, rows: Rows, model: type[models.Model]) -> None:
        rows.one_of(model)
        table = model._meta.db_table

        with refused_by(f"{table}_append_only"), connection.cursor() as cursor:
            cursor.execute(f"DELETE FROM {table}")  # noqa: S608 - a table of ours

    def test_it_is_not_truncated(self, rows: Rows, model: type[models.Model]) -> None:
        rows.one_of(model)
        table = model._meta.db_table
        connection.check_constraints()
        # SQLite has no TRUNCATE; emptying a table is a DELETE there, which a trigger keeps from the shortcut.
        command, rule = {
            "sqlite": (f"DELETE FROM {table}", f"{table}_append_only"),  # noqa: S608
            "postgresql": (f"TRUNCATE {table} CASCADE", f"{table}_append_only_truncate"),
        }[connection.vendor]

        with refused_by(rule), connection.cursor() as cursor:
            cursor.execute(command)

    def test_it_is_added_to(self, rows: Rows, model: type[models.Model]) -> None:
        assert rows.one_of(model).pk is not None


class TestJobLineInTheCurrencyOfTheStation:
    rule = "job_line_in_the_currency_of_the_station"

    def test_a_cost_in_another_is_refused(self, rows: Rows) -> None:
        line = rows.one_of(JobLine)

        with refused_by(self.rule):
            inserted(copied(line, currency="GBP"))


class TestCurrencyStaysWithJobCosts:
    rule = "currency_stays_with_job_costs"

    def test_once_a_cost_was_noted(self, rows: Rows) -> None:
        here = Station.objects.filter(pk=rows.station.pk)
        here.update(currency="GBP")
        here.update(currency="EUR")
        rows.one_of(JobLine)

        with refused_by(self.rule):
            here.update(currency="GBP")


def test_every_rule_is_tried_here() -> None:
    tried = {each.rule for each in globals().values() if hasattr(each, "rule")}
    tried |= {f"{model._meta.db_table}_append_only{end}" for model in KEPT for end in ("", "_truncate")}

    assert tried == {rule.name for rule in laid(elsewhere=False)}


def test_every_rule_laid_is_found_in_the_database_word_for_word(db: None) -> None:
    """SQLite rebuilds a table to alter it, and the table's triggers go with the old one."""
    assert lost() == []


def test_a_rule_that_went_with_a_rebuilt_table_would_be_noticed(db: None) -> None:
    on_table = "" if connection.vendor == "sqlite" else " ON fleet_item"
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER item_moves_update{on_table}")

    assert lost() == ["trigger item_moves_update"]


def lost() -> list[str]:
    made = {
        named(statement): statement
        for rule in laid()
        for statement in rule.statements[connection.vendor]
        if not statement.startswith("DROP")
    }
    return [f"{kind} {name}" for (kind, name), last in made.items() if found(kind, name) not in last]


def named(statement: str) -> tuple[str, str]:
    """What a statement of a rule makes: a trigger, a function or a constraint, and its name."""
    match = re.search(r"CREATE (?:OR REPLACE )?(TRIGGER|FUNCTION) (\w+)|ADD (CONSTRAINT) (\w+)", statement)
    assert match is not None
    return (match[1] or match[3]).lower(), match[2] or match[4]


FOUND = {
    ("sqlite", "trigger"): "SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = %s",
    # A trigger that is switched off guards nothing.
    ("postgresql", "trigger"): (
        "SELECT tgname || CASE WHEN tgtype & 2 > 0 THEN ' BEFORE' END FROM pg_trigger "
        "WHERE tgname = %s AND tgenabled = 'O'"
    ),
    ("postgresql", "function"): "SELECT prosrc FROM pg_proc WHERE proname = %s",
    ("postgresql", "constraint"): (
        "SELECT conname || ' EXCLUDE' FROM pg_constraint "
        "WHERE conname = %s AND contype = 'x' AND convalidated"
    ),
}


def found(kind: str, name: str) -> str:
    with connection.cursor() as cursor:
        cursor.execute(FOUND[connection.vendor, kind], [name])
        row = cursor.fetchone()
    return "nowhere" if row is None else str(row[0])
