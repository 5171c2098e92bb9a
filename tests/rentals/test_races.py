"""Two at once: real threads, each with a connection of its own, on a database where writes commit.

How the engine waits is part of what is tried: an answer is a result or a refusal in words, never an error.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from datetime import datetime, timedelta
from threading import Barrier, BrokenBarrierError
from types import ModuleType
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection, connections
from django.db.models import Sum

from rentals.afloat import services as afloat
from rentals.afloat.models import PhaseChange, Recall
from rentals.audit.models import Entry
from rentals.bench import services as bench
from rentals.bench.models import Job, WearPosting
from rentals.bookings.models import Booking, KitPart, Outing
from rentals.bookings.services import UnableToMoveOuting
from rentals.fleet import services as fleet
from rentals.fleet.models import Hold, Item, Kind
from rentals.fleet.services import UnableToHold, UnableToMove
from rentals.lib.access import Act, Actor, System, service
from rentals.lib.problems import Refused
from rentals.lib.writes import write
from rentals.mail.models import Letter
from rentals.rigs.services import UnableToKit
from tests.rentals.walk import HOUR, MINUTE, Walk, again

RUSH = 200
PATIENCE_S = 30

pytestmark = pytest.mark.both_engines


@pytest.fixture
def cast(committing: None, now: datetime) -> Walk:
    """The cast on a database where writes commit."""
    return Walk(now)


def at_once(*calls: Callable[[], object]) -> list[object]:
    """Start all calls together; return what each returned, or the refusal it got."""
    start = Barrier(len(calls))

    def run(call: Callable[[], object]) -> object:
        try:
            # The connection is opened before the race, as a server's would be.
            connection.ensure_connection()
            start.wait(PATIENCE_S)
            return call()
        except Refused as refusal:
            return refusal
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(calls)) as pool:
        return list(pool.map(run, calls))


def meet_after(monkeypatch: pytest.MonkeyPatch, module: ModuleType, name: str) -> None:
    """Make two callers of a helper wait for each other when it is done, where the engine lets both so far."""
    step, met = getattr(module, name), Barrier(2)

    def run(*args: Any, **kwargs: Any) -> Any:
        done = step(*args, **kwargs)
        with suppress(BrokenBarrierError):
            met.wait(0.5)
        return done

    monkeypatch.setattr(module, name, run)


def told_apart(answers: list[object]) -> Counter[type]:
    """How many of each kind of answer."""
    return Counter(type(answer) for answer in answers)


@contextmanager
def without_deadlock() -> Iterator[None]:
    """PostgreSQL counts the deadlocks that it broke; SQLite has one writer and so none."""
    before = deadlocks()
    yield
    assert deadlocks() == before


def deadlocks() -> int:
    if connection.vendor == "sqlite":
        return 0
    with connection.cursor() as cursor:
        cursor.execute("SELECT deadlocks FROM pg_stat_database WHERE datname = current_database()")
        return int(cursor.fetchone()[0])


def overlaps() -> int:
    """Pairs of live holds of one item that meet, counted by a query that knows nothing of the rule."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM fleet_hold a JOIN fleet_hold b ON a.item_id = b.item_id AND a.id < b.id "
            "WHERE a.live AND b.live AND a.starts_at < b.ends_at AND b.starts_at < a.ends_at"
        )
        return int(cursor.fetchone()[0])


@write
def hold(*, actor: Actor, station_id: int, item_ids: list[int], start: datetime, end: datetime) -> int:
    """What every service does that holds: ask, then take the holds, all or none."""
    actor.require(Act.ASSIGN_KIT, station_id=station_id)
    return len(fleet.take_holds(item_ids=item_ids, starts_at=start, ends_at=end, purpose="the rush"))


class TestTheRushForOneItem:
    def test_of_two_hundred_exactly_one_gets_it(self, cast: Walk) -> None:
        item, actor, station_id = cast.shed["S2"].pk, cast.ida, cast.tarrow.pk

        def attempt(number: int) -> Callable[[], int]:
            # Two hundred spans, all over a quarter past eleven.
            start = cast.at(10) + timedelta(minutes=number % 75)
            end = cast.at(11, 16) + timedelta(minutes=number % 60)
            return lambda: hold(actor=actor, station_id=station_id, item_ids=[item], start=start, end=end)

        with without_deadlock():
            answers = at_once(*(attempt(number) for number in range(RUSH)))

        assert told_apart(answers) == {int: 1, UnableToHold: RUSH - 1}
        assert Hold.objects.filter(item=item, live=True).count() == 1
        assert overlaps() == 0

    def test_the_refused_are_told_what_is_held_and_until_when(self, cast: Walk) -> None:
        item, actor, station_id = cast.shed["S2"].pk, cast.ida, cast.tarrow.pk

        def attempt() -> int:
            return hold(
                actor=actor, station_id=station_id, item_ids=[item], start=cast.at(11), end=cast.at(13)
            )

        answers = at_once(*[attempt] * 8)

        said = {answer.sentence for answer in answers if isinstance(answer, UnableToHold)}
        assert said == {"S2 is held until 13:00 (the rush). Choose another item or another time."}

    def test_who_wants_several_gets_all_or_none(self, cast: Walk) -> None:
        actor, station_id = cast.ida, cast.tarrow.pk
        wanted = [cast.shed[tag].pk for tag in ("S1", "S2", "M1", "B1", "X1")]

        def attempt(number: int) -> Callable[[], int]:
            # Each wants a different three of the five, asked for in a different order.
            items = [wanted[(number + step) % 5] for step in (3, 0, 1)]
            return lambda: hold(
                actor=actor, station_id=station_id, item_ids=items, start=cast.at(11), end=cast.at(13)
            )

        with without_deadlock():
            answers = at_once(*(attempt(number) for number in range(40)))

        assert told_apart(answers) == {int: 1, UnableToHold: 39}
        assert Hold.objects.filter(live=True).count() == 3

    def test_through_the_whole_service_one_rider_gets_the_sail(self, cast: Walk) -> None:
        cast.blow()
        outings = [cast.booked(cast.rider(f"Rider {number}", level="advanced"))[0] for number in range(12)]
        assert cast.shed
        assert cast.ida

        with without_deadlock():
            answers = at_once(*(lambda outing=outing: cast.kit(outing) for outing in outings))

        refused = [answer for answer in answers if isinstance(answer, Refused)]
        assert len(refused) == len(outings) - 1
        assert {type(answer) for answer in refused} <= {UnableToHold, UnableToKit}
        assert Outing.objects.filter(state="kitted").count() == 1
        assert overlaps() == 0


class TestTwoDesks:
    def test_who_want_each_other_s_sail_both_get_an_answer(self, cast: Walk) -> None:
        """Each holds what the other asks for: an order of locks in which both might wait for ever."""
        cast.blow()
        first, second = cast.booked(cast.wren, cast.rider("Bram Sallow", level="advanced"))
        one, other = kits(cast)
        cast.kit(first, **one)
        cast.kit(second, **other)

        with without_deadlock():
            answers = at_once(lambda: cast.kit(first, **other), lambda: cast.kit(second, **one))

        assert all(isinstance(answer, UnableToKit | UnableToHold) for answer in answers)
        assert overlaps() == 0
        assert {again(first).kit_no, again(second).kit_no} == {1}

    def test_who_issue_the_same_outing_hand_it_over_once(self, cast: Walk) -> None:
        outing = cast.kitted()
        assert cast.ida

        answers = at_once(*[lambda: cast.issue(outing)] * 6)

        assert told_apart(answers) == {Outing: 6}
        for part in KitPart.objects.filter(outing=outing):
            assert cast.told("item", part.item_id) == ["Issued to Wren Alder"]

    def test_who_issue_one_item_to_two_riders_hand_it_to_one(self, cast: Walk) -> None:
        first = cast.kitted()
        (second,) = cast.booked(cast.rider("Bram Sallow", level="advanced"), hour=14)
        cast.kit(second)

        answers = at_once(lambda: cast.issue(first), lambda: cast.issue(second))

        # Whoever is slower meets the item gone; the later outing, if quicker, that somebody comes first.
        assert told_apart(answers) in ({Outing: 1, UnableToMove: 1}, {Outing: 1, UnableToMoveOuting: 1})
        assert KitPart.objects.filter(item=cast.shed["S2"], issued_at__isnull=False).count() == 1

    def test_who_send_the_same_form_book_once(self, cast: Walk) -> None:
        key, riders = uuid4(), [cast.wren.pk]
        assert cast.ida

        answers = at_once(*[lambda: cast.book(riders=riders, once=key)] * 8)

        assert told_apart(answers) == {Booking: 8}
        assert len({answer.pk for answer in answers if isinstance(answer, Booking)}) == 1
        assert (Booking.objects.count(), Outing.objects.count()) == (1, 1)

    def test_who_book_one_rider_for_times_that_meet_book_them_once(self, cast: Walk) -> None:
        riders = [cast.wren.pk]
        assert cast.ida

        answers = at_once(*[lambda: cast.book(riders=riders)] * 8)

        assert sum(isinstance(answer, Booking) for answer in answers) == 1
        assert {answer.slug for answer in answers if isinstance(answer, Refused)} == {"rider-booked-twice"}
        assert Outing.objects.count() == 1

    def test_who_let_one_rider_go_do_it_once(self, cast: Walk) -> None:
        outing = cast.cleared()
        assert cast.jory

        at_once(*[lambda: cast.launch(outing)] * 4)

        gone = Entry.objects.about("outing", outing.pk).filter(text__contains="is afloat")
        assert gone.count() == 1

    def test_who_release_the_last_two_faults_of_an_item_leave_it_ready(
        self, cast: Walk, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        jobs = [cast.mend(cast.faulty("B1", fault)) for fault in ("Clamp slips", "Grip torn")]
        assert cast.boss
        meet_after(monkeypatch, bench.jobs, "_move_job")

        at_once(*(lambda job=job: cast.release(job) for job in jobs))

        assert not Job.objects.exclude(state="released").exists()
        assert cast.state_of("B1") == "ready"


def kits(cast: Walk) -> tuple[dict[str, Any], dict[str, Any]]:
    """Two whole kits that share nothing, as choices."""
    cast.one_more("M9", like="M1")
    cast.one_more("D9", like="D1")
    worn = {Kind.BUOYANCY_AID: cast.shed["A2"].pk, Kind.WETSUIT: cast.shed["W2"].pk}
    second = Item.objects.get(tag="D9")
    one = {"sail_id": cast.shed["S2"].pk}
    other = {
        "sail_id": cast.shed["S1"].pk,
        "board_id": second.pk,
        "worn": worn,
        "override_reason": "Asked for it",
    }
    return one, other


class TestTwoWorkers:
    def test_who_post_wear_post_each_outing_once(self, cast: Walk) -> None:
        outings = []
        for number in range(4):
            outing = cast.out(cast.rider(f"Rider {number}", level="advanced"), hour=11)
            cast.take_back(outing, after=HOUR)
            outings.append(outing)
            Hold.objects.update(live=False)
            cast.now += MINUTE
        worker = service(System.POST_WEAR)

        answers = at_once(*[lambda: bench.post_wear(actor=worker, now=cast.now + 3 * HOUR)] * 4)

        assert sum(answer for answer in answers if isinstance(answer, int)) == len(outings)
        posted = WearPosting.objects.aggregate(total=Sum("water_s"))["total"]
        assert Item.objects.aggregate(total=Sum("water_s"))["total"] == posted
        assert WearPosting.objects.count() == sum(len(cast.kit_of(outing)) for outing in outings)

    def test_who_watch_one_station_raise_each_phase_once(self, cast: Walk) -> None:
        outing, worker = cast.out(), service(System.WATCH)
        late = outing.ends_at + 41 * MINUTE

        with without_deadlock():
            answers = at_once(
                *[lambda: afloat.watch(actor=worker, station_id=outing.station_id, now=late)] * 6
            )

        assert answers == [1] * 6
        assert list(PhaseChange.objects.order_by("id").values_list("phase", flat=True)) == [
            "uncertainty",
            "alert",
            "distress",
        ]
        assert Letter.objects.filter(event__startswith="overdue:").count() == 3
        assert sum(text.startswith("Overdue: ") for text in cast.told("outing", outing.pk)) == 3

    def test_who_sees_trouble_while_the_watch_looks_waits_for_it(self, cast: Walk) -> None:
        outing, worker, actor = cast.out(), service(System.WATCH), cast.ida
        late = outing.ends_at + 11 * MINUTE
        trouble = afloat.Seen(in_trouble=True)

        with without_deadlock():
            at_once(
                *[lambda: afloat.watch(actor=worker, station_id=outing.station_id, now=late)] * 3,
                *[lambda: afloat.see(actor=actor, outing_id=outing.pk, seen=trouble, now=late)] * 3,
            )

        assert PhaseChange.objects.count() == 3
        assert (
            Letter.objects.filter(event__startswith="overdue:").exclude(event__contains="step").count() == 3
        )

    def test_who_recall_at_once_call_once(self, cast: Walk) -> None:
        actor, station_id = cast.ida, cast.tarrow.pk

        answers = at_once(*[lambda: afloat.recall(actor=actor, station_id=station_id, now=cast.now)] * 6)

        assert len({answer.pk for answer in answers if isinstance(answer, Recall)}) == 1
        assert Recall.objects.count() == 1
