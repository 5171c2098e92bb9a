"""The launch check and letting go: each shut gate keeps the rider ashore, and what was seen is logged."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest

from rentals.afloat.models import LaunchCheck
from rentals.afloat.services import UnableToLaunch, call_ashore
from rentals.bookings.models import Outing
from rentals.bookings.services import UnableToMoveOuting
from rentals.fleet.models import Item, ItemModel
from rentals.people.models import Rider
from tests.cast import points
from tests.rentals.walk import DAY, HOUR, MINUTE, Walk, again


def shut(check: LaunchCheck) -> list[str]:
    return [gate["name"] for gate in check.gates if not gate["passed"]]


class TestThePassedCheck:
    @pytest.fixture
    def outing(self, cast: Walk) -> Outing:
        return cast.issued()

    def test_it_clears_the_outing(self, cast: Walk, outing: Outing) -> None:
        check = cast.look_over(outing)

        assert check.passed
        assert again(outing).state == "cleared"

    def test_it_may_let_the_rider_go_at_once(self, cast: Walk, outing: Outing) -> None:
        cast.look_over(outing, launch=True)

        assert (again(outing).state, again(outing).launched_at) == ("afloat", cast.now)

    def test_it_keeps_the_wording_that_was_ticked(self, cast: Walk, outing: Outing) -> None:
        check = cast.look_over(outing, note=" looks keen ")

        assert {point["key"] for point in check.points} == set(
            points(part.part for part in cast.kit_of(outing))
        )
        assert all(point["text"] and point["passed"] for point in check.points)
        assert (check.by, check.note) == (cast.instructor, "looks keen")

    def test_the_journal_of_every_item_has_it(self, cast: Walk, outing: Outing) -> None:
        cast.look_over(outing)

        for part in cast.kit_of(outing):
            assert cast.told("item", part.item_id)[0] == "Launch check passed"

    def test_sent_twice_it_is_logged_once(self, cast: Walk, outing: Outing) -> None:
        key = uuid4()

        assert cast.look_over(outing, once=key) == cast.look_over(outing, once=key)
        assert LaunchCheck.objects.count() == 1


Change = Callable[[Walk, Outing], Any]


def learner(cast: Walk, level: str, **beach: Any) -> None:
    Rider.objects.update(level=level)
    cast.watch_the_beach(**{"mean_ms": 4.0, "gust_ms": 5.0, **beach})


KEEP_ASHORE: dict[str, tuple[str, Change]] = {
    # hard gate: (how it is shut after everything else is in order)
    "an item goes to the bench": (
        "kit_state",
        lambda cast, outing: Item.objects.filter(tag="M1").update(state="on_bench"),
    ),
    "a mast that does not fit": (
        "rig_fit",
        lambda cast, outing: ItemModel.objects.filter(name="Lyme 400 RDM").update(length_cm=490),
    ),
    "no waiver": ("waiver", lambda cast, outing: Rider.objects.update(waiver_signed_at=None)),
    "a minor without consent": (
        "guardian",
        lambda cast, outing: Rider.objects.update(born_on=cast.now.date() - 15 * 365 * DAY),
    ),
    "no word on swimming": ("swim", lambda cast, outing: Rider.objects.update(swims=False)),
    "off-shore without a boat": (
        "shore",
        lambda cast, outing: cast.watch_the_beach(safety_boat_manned=False, from_deg=70),
    ),
    "a learner without a boat": (
        "safety_boat",
        lambda cast, outing: learner(cast, "improver", safety_boat_manned=False),
    ),
    "due after dusk": (
        "daylight",
        lambda cast, outing: Outing.objects.update(
            starts_at=cast.at(18), ends_at=cast.at(18) + timedelta(hours=5)
        ),
    ),
    "lightning just now": ("lightning", lambda cast, outing: cast.watch_the_beach(lightning=True)),
    "an aid too small": (
        "buoyancy_aid",
        lambda cast, outing: ItemModel.objects.filter(name="Bladderwrack M").update(buoyancy_n=35),
    ),
    "a taster without an instructor": (
        "instructor",
        lambda cast, outing: learner(cast, "taster", instructors=0),
    ),
}
OVERRIDABLE: dict[str, tuple[str, Change]] = {
    "too much wind now": (
        "wind_now",
        lambda cast, outing: cast.watch_the_beach(mean_ms=15.5, gust_ms=19),
    ),
    "too much wind to come": ("wind_ahead", lambda cast, outing: cast.blow(mean_ms=18, gust_ms=22)),
    "water too cold for the suit": ("suit", lambda cast, outing: cast.watch_the_beach(water_c=6)),
}
EVERY_GATE = {
    "checklist",
    *(gate for gate, _ in KEEP_ASHORE.values()),
    *(gate for gate, _ in OVERRIDABLE.values()),
}


class TestShutGates:
    @pytest.fixture
    def outing(self, cast: Walk) -> Outing:
        outing = cast.issued()
        # What is logged next is newer.
        cast.now += MINUTE
        return outing

    def test_every_gate_is_tried_here(self, cast: Walk, outing: Outing) -> None:
        assert {gate["name"] for gate in cast.look_over(outing).gates} == EVERY_GATE

    @pytest.mark.parametrize(("gate", "change"), KEEP_ASHORE.values(), ids=KEEP_ASHORE)
    def test_a_hard_gate_keeps_the_rider_ashore_whatever_the_reason(
        self, cast: Walk, outing: Outing, gate: str, change: Change
    ) -> None:
        change(cast, outing)

        check = cast.look_over(outing, overrides={gate: "I know better"}, launch=True)

        assert not check.passed
        assert gate in shut(check)
        assert again(outing).state == "kitted"

    @pytest.mark.parametrize(("gate", "change"), OVERRIDABLE.values(), ids=OVERRIDABLE)
    def test_a_soft_gate_keeps_the_rider_ashore_without_a_reason(
        self, cast: Walk, outing: Outing, gate: str, change: Change
    ) -> None:
        change(cast, outing)

        check = cast.look_over(outing, overrides={gate: "  "}, launch=True)

        assert shut(check) == [gate]
        assert again(outing).state == "kitted"

    @pytest.mark.parametrize(("gate", "change"), OVERRIDABLE.values(), ids=OVERRIDABLE)
    def test_a_soft_gate_opens_by_the_instructor_s_word_which_is_kept(
        self, cast: Walk, outing: Outing, gate: str, change: Change
    ) -> None:
        change(cast, outing)

        check = cast.look_over(outing, overrides={gate: "Looked at the water"}, launch=True)

        assert check.passed
        assert check.overrides == {gate: "Looked at the water"}
        assert again(outing).state == "afloat"

    def test_wind_far_over_the_limit_is_nobody_s_to_allow(self, cast: Walk, outing: Outing) -> None:
        """Beyond 15 % over; a station setting."""
        cast.watch_the_beach(mean_ms=18, gust_ms=24)

        check = cast.look_over(outing, overrides={"wind_now": "I know better"}, launch=True)

        assert not check.passed
        assert again(outing).state == "kitted"

    def test_a_gate_opened_by_somebody_s_word_is_told_with_it(self, cast: Walk, outing: Outing) -> None:
        cast.watch_the_beach(mean_ms=15.5, gust_ms=19)

        cast.look_over(outing, overrides={"wind_now": "Looked at the water"})

        (told,) = [text for text in cast.told("outing", outing.pk) if "against a gate" in text]
        assert "Too much wind" in told
        assert "Let go because: Looked at the water" in told

    def test_a_point_left_open_keeps_the_rider_ashore(self, cast: Walk, outing: Outing) -> None:
        check = cast.look_over(outing, open_points=["boom.clamp"], launch=True)

        assert shut(check) == ["checklist"]
        assert again(outing).state == "kitted"

    def test_a_check_that_failed_is_logged_on_outing_and_items(self, cast: Walk, outing: Outing) -> None:
        cast.look_over(outing, open_points=["boom.clamp"])

        assert LaunchCheck.objects.get().passed is False
        assert cast.told("outing", outing.pk)[0].startswith("Launch check not passed:")
        assert cast.told("item", cast.shed["B1"].pk)[0].startswith("Launch check not passed:")

    def test_an_old_wind_is_no_wind(self, cast: Walk, outing: Outing) -> None:
        check = cast.look_over(outing, at=cast.now + 61 * MINUTE)

        assert shut(check) == ["wind_now"]


class TestWhatCannotBeChecked:
    def test_kit_that_was_not_handed_over(self, cast: Walk) -> None:
        outing = cast.kitted()

        with pytest.raises(UnableToLaunch, match="Issue the kit before"):
            cast.look_over(outing)

    def test_an_outing_without_kit(self, cast: Walk) -> None:
        (outing,) = cast.booked()

        with pytest.raises(UnableToLaunch, match="Issue the kit before"):
            cast.look_over(outing)

    def test_a_kit_that_was_swapped_while_it_was_looked_over(self, cast: Walk) -> None:
        outing = cast.issued()

        with pytest.raises(UnableToLaunch, match="swapped while you checked"):
            cast.look_over(outing, kit_no=0)

    @pytest.mark.parametrize(
        "open_points",
        [
            (),
            pytest.param(
                ("boom.clamp",),
            ),
        ],
        ids=["all ticked", "one left open"],
    )
    def test_an_outing_that_is_afloat_already(self, cast: Walk, open_points: tuple[str, ...]) -> None:
        outing = cast.out()

        with pytest.raises(UnableToMoveOuting):
            cast.look_over(outing, open_points=open_points)


class TestLettingGo:
    @pytest.fixture
    def outing(self, cast: Walk) -> Outing:
        outing = cast.cleared()
        cast.now += MINUTE
        return outing

    def test_a_cleared_rider_goes(self, cast: Walk, outing: Outing) -> None:
        cast.launch(outing)

        assert (again(outing).state, again(outing).launched_at) == ("afloat", cast.now)
        assert cast.told("outing", outing.pk)[0] == "Wren Alder is afloat, due 13:00"

    def test_twice_is_once(self, cast: Walk, outing: Outing) -> None:
        cast.launch(outing)
        cast.launch(outing, at=cast.now + MINUTE)

        assert again(outing).launched_at == cast.now

    @pytest.mark.parametrize(("gate", "change"), KEEP_ASHORE.values(), ids=KEEP_ASHORE)
    def test_a_gate_that_shut_since_the_check_keeps_the_rider_ashore(
        self, cast: Walk, outing: Outing, gate: str, change: Change
    ) -> None:
        change(cast, outing)

        with pytest.raises(UnableToLaunch, match="Something has changed since the check"):
            cast.launch(outing)

        assert again(outing).state == "cleared"

    def test_a_reason_given_at_the_check_still_counts(self, cast: Walk) -> None:
        outing = cast.issued()
        cast.now += MINUTE
        cast.watch_the_beach(mean_ms=15.5, gust_ms=19)
        cast.look_over(outing, overrides={"wind_now": "Looked at the water"})

        assert cast.launch(outing).state == "afloat"

    def test_a_reason_for_one_gate_does_not_open_another(self, cast: Walk) -> None:
        outing = cast.issued()
        cast.now += MINUTE
        cast.watch_the_beach(mean_ms=15.5, gust_ms=19)
        cast.look_over(outing, overrides={"wind_now": "Looked at the water"})
        cast.blow(mean_ms=24, gust_ms=30)

        with pytest.raises(UnableToLaunch, match="Too much wind"):
            cast.launch(outing)

    def test_a_fault_found_on_a_second_look_keeps_the_rider_ashore(self, cast: Walk, outing: Outing) -> None:
        cast.look_over(outing, open_points=["boom.clamp"], at=cast.now + MINUTE)

        with pytest.raises(UnableToLaunch):
            cast.launch(outing, at=cast.now + 2 * MINUTE)

        assert again(outing).state != "afloat"

    def test_without_a_check_nobody_goes(self, cast: Walk) -> None:
        outing = cast.issued()

        with pytest.raises(UnableToLaunch, match="Log a launch check"):
            cast.launch(outing)

    def test_another_kit_needs_another_check(self, cast: Walk, outing: Outing) -> None:
        Outing.objects.filter(pk=outing.pk).update(state="kitted", kit_no=2)

        with pytest.raises(UnableToLaunch, match="Log a launch check for this kit"):
            cast.launch(outing)


class TestAshore:
    def test_a_rider_is_noted_ashore(self, cast: Walk) -> None:
        outing = cast.out()

        cast.land(outing)

        assert (again(outing).state, again(outing).ashore_at) == ("ashore", cast.now + HOUR)
        assert cast.told("outing", outing.pk)[0] == "Wren Alder is ashore"

    def test_twice_is_once(self, cast: Walk) -> None:
        outing = cast.out()
        cast.land(outing)
        cast.land(outing, after=2 * HOUR)

        assert again(outing).ashore_at == cast.now + HOUR

    def test_the_kit_is_still_out(self, cast: Walk) -> None:
        outing = cast.out()

        cast.land(outing)

        assert len(cast.still_out(outing)) == len(cast.kit_of(outing))

    def test_a_clock_set_back_lands_nobody_before_the_launch(self, cast: Walk) -> None:
        outing = cast.out()

        cast.land(outing, after=-HOUR)

        assert again(outing).ashore_at == again(outing).launched_at

    def test_nobody_lands_who_was_not_afloat(self, cast: Walk) -> None:
        outing = cast.cleared()

        with pytest.raises(UnableToMoveOuting):
            call_ashore(actor=cast.ida, outing_id=outing.pk, now=cast.now)
