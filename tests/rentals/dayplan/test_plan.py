"""From asking to accepting: what a plan gives, holds and says, and what keeps it from being accepted."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest

from rentals.bookings.models import Booking, KitPart, Outing
from rentals.dayplan import services
from rentals.dayplan.models import Plan, RigTask
from rentals.fleet.mapping import item_to_core
from rentals.fleet.models import RIG_PARTS, Hold, Item, Kind
from rentals.people.models import Rider
from rentals.rigs.models import Card
from rentals.takings import services as takings
from rigging import kit
from rigging.allot.check import violations
from tests.rentals.dayplan.day import Day, read, rigs
from tests.rentals.walk import HOUR, MINUTE, again


def given(day: Day, outing: Outing) -> dict[str, str]:
    """Tags of an outing's kit by part."""
    return {part.part: part.item.tag for part in day.cast.kit_of(outing)}


class TestASolvedPlan:
    def test_it_passes_the_independent_check_and_holds_nothing_yet(self, day: Day) -> None:
        day.two()

        plan = day.solved()

        assert (plan.state, plan.served, plan.unserved, plan.proven) == ("ready", 2, 0, True)
        assert violations(*read(plan)) == ()
        assert not Hold.objects.exists()

    def test_it_says_what_would_serve_who_goes_short(self, day: Day) -> None:
        """One mast of the kind that both need."""
        day.booked(day.cast.wren, day.reed())

        _, solved = read(day.solved())

        (short,) = solved.unserved
        assert short.remedy is not None
        assert "Lyme 400 RDM mast" in short.remedy

    def test_it_puts_nobody_on_a_sail_that_the_wind_forbids(self, day: Day) -> None:
        """30 kn at 10 m for one who learns: common practice, no source."""
        assert day.cast.shed
        day.cast.blow(mean_ms=15.5, gust_ms=20.0)
        day.cast.booked(day.cast.rider("Fern Moor", level="beginner"))

        plan = day.solved()

        assert (plan.served, plan.unserved) == (0, 1)
        assert "the limit for beginner riders is" in plan.aside[0]["why"]

    def test_it_leaves_aside_whose_time_has_no_forecast(self, day: Day) -> None:
        day.two()
        (late,) = day.cast.booked(day.cast.rider("Sedge Moor", level="advanced"), hour=11)
        Outing.objects.filter(pk=late.pk).update(starts_at=day.cast.at(20) + MINUTE, ends_at=day.cast.at(21))

        plan = day.solved()

        assert [each["outing_id"] for each in plan.aside] == [late.pk]
        assert "enter the wind" in plan.aside[0]["why"]

    def test_a_lesson_goes_together_or_not_at_all(self, day: Day) -> None:
        """One mast for two of a lesson."""
        outings = day.booked(day.cast.wren, day.reed())
        Booking.objects.filter(pk=outings[0].booking_id).update(kind="lesson")

        assert day.solved().served == 0

    def test_who_booked_before_goes_before_who_walks_in(self, day: Day) -> None:
        (first,) = day.booked(day.cast.wren)
        (second,) = day.cast.booked(day.reed())
        Booking.objects.filter(pk=second.booking_id).update(booked_at=day.cast.now - timedelta(days=2))

        _, solved = read(day.solved())

        assert [each.demand for each in solved.assignments] == [str(second.pk)]
        assert [each.demand for each in solved.unserved] == [str(first.pk)]


class TestAsking:
    def test_without_riders_there_is_nothing_to_plan(self, day: Day) -> None:
        assert day.cast.shed

        with pytest.raises(services.UnableToPlan, match="Nobody is left"):
            day.ask()

    def test_one_plan_of_a_day_is_made_at_a_time(self, day: Day) -> None:
        day.two()
        day.ask()

        with pytest.raises(services.UnableToMovePlan, match="being made already"):
            day.ask()

    def test_the_same_form_sent_twice_asks_once(self, day: Day) -> None:
        day.two()
        key = uuid4()

        assert day.ask(once=key) == day.ask(once=key)
        assert Plan.objects.count() == 1

    def test_plans_of_a_day_are_numbered(self, day: Day) -> None:
        day.two()

        assert [day.solved().number, day.solved().number] == [1, 2]


class TestAccepting:
    def test_everybody_is_kitted_and_carded(self, day: Day) -> None:
        outings = day.two()

        plan = day.accepted()

        assert (plan.state, plan.accepted_by_id) == ("accepted", day.cast.instructor.pk)
        assert {again(outing).state for outing in outings} == {"kitted"}
        parts = given(day, outings[0]).keys()
        assert parts == {*(part.value for part in RIG_PARTS), "board", "fin", "buoyancy_aid", "wetsuit"}

    def test_every_kit_is_that_of_the_plan_and_fits_together(self, day: Day) -> None:
        outings = day.two()

        plan = day.accepted()

        _, solved = read(plan)
        rig = {rig.id: rig for rig in solved.rigs}
        for each in solved.assignments:
            tags = given(day, next(outing for outing in outings if str(outing.pk) == each.demand))
            wanted = rig[each.rig]
            assert (tags["sail"], tags["mast"], tags["extension"], tags["boom"], tags["board"]) == (
                wanted.sail,
                wanted.mast,
                wanted.extension,
                wanted.boom,
                each.board,
            )
            assert fits(tags, day)

    def test_the_card_is_the_one_that_choosing_by_hand_would_make(self, day: Day) -> None:
        outing, _ = day.two()
        day.accepted()
        planned = day.cast.card(again(outing))
        items = {Kind(part): item_id for part, item_id in planned.inputs["items"].items()}

        by_hand = day.cast.kit(
            again(outing),
            sail_id=items[Kind.SAIL],
            board_id=items[Kind.BOARD],
            parts={kind: items[kind] for kind in RIG_PARTS if kind is not Kind.SAIL},
            worn={kind: items[kind] for kind in (Kind.BUOYANCY_AID, Kind.WETSUIT)},
        )

        assert by_hand.settings == planned.settings
        assert by_hand.inputs["slot"] == planned.inputs["slot"]
        assert by_hand.inputs["rider"] == planned.inputs["rider"]
        assert without(by_hand.choice, "parts_reason") == without(planned.choice, "parts_reason")

    def test_the_crew_gets_its_list_in_order(self, day: Day) -> None:
        day.two()

        tasks = rigs(day.accepted())

        assert [task.place for task in tasks] == [1, 2]
        assert all(task.starts_at < task.due_at <= task.needed_at == day.cast.at(11) for task in tasks)

    def test_another_plan_takes_its_place_and_tells_whose_kit_changes(self, day: Day) -> None:
        outing, _ = day.two()
        first = day.accepted()
        sail = given(day, outing)["sail"]
        day.cast.faulty(sail)

        second = day.accepted()

        first.refresh_from_db()
        assert (first.state, second.state) == ("superseded", "accepted")
        assert {each["kind"] for each in second.changes} <= {"other_kit", "no_rig"}
        assert second.changes
        assert sail not in given(day, outing).values()

    def test_who_had_kit_and_gets_none_is_booked_again_and_told(self, day: Day) -> None:
        """The wind has grown beyond what any sail of the shed is safe in."""
        outing = day.cast.kitted(hour=11)
        day.cast.now += MINUTE
        day.cast.blow(mean_ms=24.0, gust_ms=33.0)

        plan = day.accepted()

        assert (again(outing).state, given(day, outing)) == ("booked", {})
        assert not Hold.objects.filter(live=True).exists()
        assert [(each["rider"], each["kind"]) for each in plan.changes] == [("Wren Alder", "no_rig")]

    def test_kit_chosen_by_hand_is_a_promise_that_it_keeps(self, day: Day) -> None:
        outing, _ = day.two()
        day.cast.kit(outing, override_reason="Asked for it")
        before = given(day, outing)

        plan = day.accepted()

        assert given(day, outing)["sail"] == before["sail"]
        assert plan.changes == []
        assert again(outing).kit_no == 2

    def test_what_a_rider_was_given_to_wear_stays_theirs(self, day: Day) -> None:
        outing, _ = day.two()
        worn = {Kind.WETSUIT: day.cast.shed["W2"].pk}
        day.cast.kit(outing, worn=worn, override_reason="Asked for it")

        day.accepted()

        assert given(day, outing)["wetsuit"] == "W2"

    def test_twice_it_is_accepted_once(self, day: Day) -> None:
        day.two()
        plan, key = day.solved(), uuid4()

        day.accept(plan, once=key)
        day.accept(plan, once=key)

        assert RigTask.objects.count() == 2
        with pytest.raises(services.UnableToMovePlan):
            day.accept(plan)


def without(values: dict[str, Any], name: str) -> dict[str, Any]:
    return {key: value for key, value in values.items() if key != name}


def fits(tags: dict[str, str], day: Day) -> bool:
    """Whether the parts of a kit go together by the trade's own fit."""
    named = {part.value: item_to_core(Item.objects.get(tag=tags[part.value])) for part in RIG_PARTS}
    return kit.fit(**named).ok  # type: ignore[arg-type]


def fault(day: Day, outing: Outing) -> None:
    day.cast.faulty("S1")


def taken_by_hand(day: Day, outing: Outing) -> None:
    """Somebody books and is given a sail of the plan."""
    (other,) = day.cast.booked(day.cast.rider("Sedge Moor", level="advanced"))
    _, solved = read(Plan.objects.get())
    sail = next(rig.sail for rig in solved.rigs)
    day.cast.kit(other, sail_id=day.cast.shed[sail].pk, worn={}, override_reason="Asked for it")


def cancelled(day: Day, outing: Outing) -> None:
    takings.cancel_outing(
        actor=day.cast.boss, outing_id=outing.pk, missed=False, reason="Ill", now=day.cast.now
    )


def moved(day: Day, outing: Outing) -> None:
    Outing.objects.filter(pk=outing.pk).update(ends_at=outing.ends_at + HOUR)


def heavier(day: Day, outing: Outing) -> None:
    Rider.objects.filter(pk=outing.rider_id).update(mass_kg=Decimal(90))


def stormier(day: Day, outing: Outing) -> None:
    day.cast.now += MINUTE
    day.cast.blow(mean_ms=24.0, gust_ms=33.0)


CHANGED: list[tuple[Callable[[Day, Outing], None], str]] = [
    (fault, "cannot be given any more"),
    (taken_by_hand, "is kept for somebody else"),
    (cancelled, "is cancelled"),
    (moved, "was changed"),
    (heavier, "was changed"),
    (stormier, "limit"),
]


@pytest.mark.parametrize(("change", "says"), CHANGED, ids=[change.__name__ for change, _ in CHANGED])
def test_a_plan_that_the_day_has_overtaken_is_refused_whole(
    day: Day, change: Callable[[Day, Outing], None], says: str
) -> None:
    outing, other = day.two()
    plan = day.solved()
    change(day, outing)
    cards, holds = Card.objects.count(), Hold.objects.filter(live=True).count()

    with pytest.raises(services.UnableToAccept, match=says) as refusal:
        day.accept(plan)

    assert "Nothing was taken" in refusal.value.sentence
    assert (Card.objects.count(), Hold.objects.filter(live=True).count()) == (cards, holds)
    assert again(other).state == "booked"
    plan.refresh_from_db()
    assert plan.state == "ready"


class TestWithRidersAfloat:
    def test_they_keep_their_rig_and_it_serves_the_next_without_building(self, day: Day) -> None:
        """One sail that suits: Wren has it until one, Reed wants it at three."""
        out = day.cast.out(day.cast.wren)
        (later,) = day.cast.booked(day.reed(), hour=15)
        day.cast.faulty("S1")

        plan = day.accepted()

        _, solved = read(plan)
        by_demand = {each.demand: each for each in solved.assignments}
        assert by_demand[str(out.pk)].issued
        assert given(day, later)["mast"] == given(day, out)["mast"]
        assert rigs(plan) == []

    def test_a_late_rider_is_reckoned_back_soon(self, day: Day) -> None:
        out = day.cast.out(day.cast.wren)
        (later,) = day.cast.booked(day.reed(), hour=15)
        day.cast.now = out.ends_at + HOUR

        plan = day.solved(day.ask())

        problem, solved = read(plan)
        span = {demand.id: demand for demand in problem.demands}[str(out.pk)]
        # Opening at eight, the crew from seven; two o'clock and half an hour.
        assert span.end_min == (14 - 7) * 60 + 30
        assert str(later.pk) in {each.demand for each in solved.assignments}

    def test_kit_of_an_outing_about_to_start_stays(self, day: Day) -> None:
        outing = day.cast.kitted(hour=11)
        day.cast.booked(day.reed(), hour=15)
        day.cast.now = day.cast.at(10, 50)

        plan = day.accepted()

        assert [each["outing_id"] for each in plan.aside] == [outing.pk]
        assert KitPart.objects.filter(outing=outing, dropped_at=None, hold__live=True).exists()


class TestAdjusting:
    def test_it_gives_the_rider_that_sail_and_says_what_it_costs(self, day: Day) -> None:
        outing, _ = day.two()
        first = day.solved()
        _, before = read(first)
        had = next(each.sail for each in before.assignments if each.demand == str(outing.pk))
        other = "Samphire 5.0" if had == "S2" else "Samphire 5.7"

        second = services.adjust_plan(
            actor=day.cast.jory, plan_id=first.pk, outing_id=outing.pk, sail=other, now=day.cast.now
        )
        second = day.solved(second)

        problem, after = read(second)
        names = {unit.tag: stock.name for stock in problem.sails for unit in stock.units}
        assert {a.demand: names[a.sail] for a in after.assignments}[str(outing.pk)] == other
        assert (second.basis_id, second.number) == (first.pk, 2)
        first.refresh_from_db()
        assert first.state == "ready"

    def test_who_is_chosen_for_comes_before_who_would_have_had_it(self, day: Day) -> None:
        """One mast, so that one of the two goes short; the choice turns who."""
        outings = day.booked(day.cast.wren, day.reed())
        first = day.solved()
        _, solved = read(first)
        (short,) = solved.unserved

        plan = services.adjust_plan(
            actor=day.cast.jory,
            plan_id=first.pk,
            outing_id=int(short.demand),
            sail="Samphire 5.7",
            now=day.cast.now,
        )
        _, turned = read(day.solved(plan))

        assert [each.demand for each in turned.assignments] == [short.demand]
        assert len(outings) == 2

    @pytest.mark.parametrize(("sail", "says"), [("Thrift 9.9", "not in the shed"), ("", "not in the shed")])
    def test_a_sail_that_is_not_safe_or_not_there_is_refused(self, day: Day, sail: str, says: str) -> None:
        outing, _ = day.two()
        plan = day.solved()

        with pytest.raises(services.UnableToPlan, match=says) as refusal:
            services.adjust_plan(
                actor=day.cast.jory, plan_id=plan.pk, outing_id=outing.pk, sail=sail, now=day.cast.now
            )

        assert list(refusal.value.fields) == ["sail"]

    def test_a_rider_whom_the_plan_does_not_know_is_refused(self, day: Day) -> None:
        day.two()
        plan = day.solved()

        with pytest.raises(services.UnableToPlan, match="does not speak of that rider"):
            services.adjust_plan(
                actor=day.cast.jory, plan_id=plan.pk, outing_id=10**9, sail="Samphire 5.0", now=day.cast.now
            )
