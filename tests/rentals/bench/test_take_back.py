"""The return check: what came back, what is missing, what is broken, and what stays rigged for the next."""

from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest

from rentals.bench.models import Job, ReturnCheck, ReturnLine
from rentals.bench.services import Came, UnableToTakeBack
from rentals.bookings.models import Outing
from rentals.bookings.services import UnableToMoveOuting
from rentals.fleet.models import Hold, Item, Rig
from rentals.fleet.services import UnableToMove
from rentals.lib.problems import Refused
from tests.rentals.walk import HOUR, Walk, again

RIG = ("S2", "M1", "B1", "X1", "T1")
TURN_ROUND = timedelta(minutes=15)
"""Of Tarrow Lagoon."""


@pytest.fixture
def outing(cast: Walk) -> Outing:
    """Wren afloat."""
    return cast.out()


def ends_of_holds() -> set[datetime]:
    return set(Hold.objects.filter(live=True).values_list("ends_at", flat=True))


def states(*tags: str) -> set[str]:
    return set(Item.objects.filter(tag__in=tags).values_list("state", flat=True))


class TestEverythingBack:
    def test_the_outing_is_closed(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing)

        assert (again(outing).state, again(outing).closed_at) == ("closed", cast.now + 2 * HOUR)

    def test_a_rider_still_logged_afloat_is_noted_ashore(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing)

        assert again(outing).ashore_at == cast.now + 2 * HOUR

    def test_a_rider_noted_ashore_keeps_that_time(self, cast: Walk, outing: Outing) -> None:
        cast.land(outing, after=HOUR)
        cast.take_back(outing)

        assert again(outing).ashore_at == cast.now + HOUR

    def test_every_item_is_ready(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing)

        parts = cast.kit_of(outing)
        assert {part.item.state for part in parts} == {"ready"}
        assert {part.returned_at for part in parts} == {cast.now + 2 * HOUR}

    def test_it_is_kept_for_its_turn_round_and_free_from_then_on(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing, after=2 * HOUR)

        assert ends_of_holds() == {cast.now + 2 * HOUR + TURN_ROUND}

    def test_back_late_it_is_held_as_long_as_promised(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing, after=6 * HOUR)

        assert ends_of_holds() == {outing.ends_at + TURN_ROUND}

    def test_back_before_its_time_came_it_is_free_at_once(self, cast: Walk) -> None:
        """Handed over at ten for eleven o'clock, and brought back at half past ten."""
        issued = cast.issued()

        cast.take_back(issued, after=HOUR / 2)

        assert ends_of_holds() == set()

    def test_each_item_has_its_line_and_its_journal(self, cast: Walk, outing: Outing) -> None:
        check = cast.take_back(outing, felt="over", note=" windy ")

        assert (check.felt, check.note) == ("over", "windy")
        lines = ReturnLine.objects.filter(check_made=check)
        assert {line.item_id for line in lines} == {part.item_id for part in cast.kit_of(outing)}
        assert cast.told("item", cast.shed["D1"].pk)[0] == "Came back whole"
        assert cast.told("outing", outing.pk)[0] == "Return check: all back, outing closed"

    def test_kit_that_never_went_afloat_leaves_the_outing_booked(self, cast: Walk) -> None:
        outing = cast.issued()

        cast.take_back(outing)

        assert (again(outing).state, again(outing).launched_at) == ("booked", None)
        assert states(*RIG) == {"ready"}

    def test_other_kit_may_be_chosen_for_it_then(self, cast: Walk) -> None:
        outing = cast.issued()
        cast.take_back(outing)
        cast.now += HOUR

        cast.kit(again(outing))

        assert again(outing).state == "kitted"

    def test_kit_that_never_went_afloat_and_comes_when_the_time_is_over_closes_it(self, cast: Walk) -> None:
        outing = cast.issued()

        cast.take_back(outing, after=4 * HOUR)

        assert (again(outing).state, again(outing).launched_at) == ("closed", None)

    def test_sent_twice_it_is_logged_once(self, cast: Walk, outing: Outing) -> None:
        key, lines = uuid4(), [Came(item_id=item.pk, back=True) for item in cast.still_out(outing)]

        first = cast.take_back(outing, lines=lines, once=key)

        assert cast.take_back(outing, lines=lines, once=key) == first
        assert ReturnCheck.objects.count() == 1


class TestSomethingMissing:
    def test_a_missing_item_keeps_the_outing_ashore(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing, missing=[cast.shed["F1"]])

        assert again(outing).state == "ashore"
        assert cast.still_out(outing) == [cast.shed["F1"]]
        assert states("F1") == {"issued"}
        assert cast.told("outing", outing.pk)[0] == "Return check: 1 missing"

    def test_what_is_back_is_free_meanwhile(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing, missing=[cast.shed["F1"]])

        assert states(*RIG) == {"ready"}
        assert ends_of_holds() == {cast.now + 2 * HOUR + TURN_ROUND, outing.ends_at + TURN_ROUND}
        assert Hold.objects.get(item=cast.shed["F1"]).ends_at == outing.ends_at + TURN_ROUND

    def test_when_it_turns_up_the_outing_is_closed(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing, missing=[cast.shed["F1"]])
        cast.take_back(outing, after=3 * HOUR)

        assert again(outing).state == "closed"
        assert ReturnCheck.objects.filter(outing=outing).count() == 2

    def test_a_missing_item_has_no_fault_yet(self, cast: Walk, outing: Outing) -> None:
        fin = cast.shed["F1"]

        with pytest.raises(UnableToTakeBack, match="for now it is missing") as refusal:
            cast.take_back(outing, missing=[fin], faults={"F1": "Chipped"})

        assert set(refusal.value.fields) == {f"fault_{fin.pk}"}
        assert not ReturnCheck.objects.exists()


class TestFaults:
    def test_a_fault_opens_a_job_and_takes_the_item_out_of_use(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing, faults={"B1": " Clamp slips "})

        job = Job.objects.get()
        assert (job.item, job.fault, job.state, job.outing) == (
            cast.shed["B1"],
            "Clamp slips",
            "open",
            outing,
        )
        assert states("B1") == {"on_bench"}
        assert cast.told("item", cast.shed["B1"].pk)[0] == "Fault: Clamp slips"

    def test_the_others_are_ready_and_the_outing_is_closed(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing, faults={"B1": "Clamp slips"})

        assert states("S2", "M1", "X1", "T1", "D1") == {"ready"}
        assert again(outing).state == "closed"

    def test_the_next_rider_does_not_get_it(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing, faults={"B1": "Clamp slips"})
        (later,) = cast.booked(cast.rider("Bram Sallow", level="advanced"), hour=14)

        cast.kit(later)

        assert "B1" not in {part.item.tag for part in cast.kit_of(later)}

    def test_one_who_was_promised_it_is_not_given_it(self, cast: Walk, outing: Outing) -> None:
        (later,) = cast.booked(cast.rider("Bram Sallow", level="advanced"), hour=14)
        cast.kit(later)
        cast.take_back(outing, faults={"M1": "Hairline at the ferrule"})

        with pytest.raises(UnableToMove, match="M1 is on bench"):
            cast.issue(later)


class TestStaysRigged:
    def test_the_rig_stands_built_for_the_next(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing, stays_rigged=True)

        assert states(*RIG) == {"rigged"}
        assert states("D1", "F1", "A1", "W1") == {"ready"}
        assert Rig.objects.get().derigged_at is None

    def test_otherwise_it_is_taken_apart(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing)

        assert Rig.objects.get().derigged_at == cast.now + 2 * HOUR

    @pytest.mark.parametrize(
        "came",
        [
            pytest.param({"faults": {"M1": "Hairline at the ferrule"}}, id="a part is broken"),
            pytest.param({"missing": "X1"}, id="a part is missing"),
        ],
    )
    def test_a_rig_that_is_not_whole_does_not_stay(
        self, cast: Walk, outing: Outing, came: dict[str, Any]
    ) -> None:
        missing = [cast.shed[came["missing"]]] if "missing" in came else []

        cast.take_back(outing, stays_rigged=True, missing=missing, faults=came.get("faults"))

        assert states("S2", "B1", "T1") == {"ready"}
        assert Rig.objects.get().derigged_at is not None

    def test_the_same_rig_goes_out_again_without_being_rigged(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing, stays_rigged=True)
        (later,) = cast.booked(cast.rider("Bram Sallow", level="advanced"), hour=14)
        cast.kit(later)
        cast.issue(later)

        assert Rig.objects.count() == 1
        assert Item.objects.get(tag="S2").rig_ups == 1

    def test_another_rig_with_one_of_its_parts_takes_it_apart(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing, stays_rigged=True)
        (later,) = cast.booked(cast.rider("Bram Sallow", level="advanced"), hour=14)
        cast.kit(later, sail_id=cast.shed["S1"].pk, override_reason="Asked for a smaller one")
        cast.issue(later)

        assert states("S2") == {"ready"}
        assert Rig.objects.filter(derigged_at=None).get().sail == cast.shed["S1"]


def wrong_lines(cast: Walk, outing: Outing, wrong: str) -> list[Came]:
    lines = [Came(item_id=item.pk, back=True) for item in cast.still_out(outing)]
    return {
        "one left out": lines[1:],
        "one twice": [*lines, lines[0]],
        "one that is not out": [*lines, Came(item_id=cast.shed["H1"].pk, back=True)],
        "none": [],
    }[wrong]


class TestWhatCannotBe:
    @pytest.mark.parametrize("wrong", ["one left out", "one twice", "one that is not out", "none"])
    def test_the_lines_are_those_of_the_kit_that_is_out(self, cast: Walk, outing: Outing, wrong: str) -> None:
        lines = wrong_lines(cast, outing, wrong)

        with pytest.raises(UnableToTakeBack, match="Reload the page"):
            cast.take_back(outing, lines=lines)

        assert again(outing).state == "afloat"
        assert not ReturnCheck.objects.exists()

    def test_a_sail_felt_under_right_or_over(self, cast: Walk, outing: Outing) -> None:
        with pytest.raises(UnableToTakeBack) as refusal:
            cast.take_back(outing, felt="fine")

        assert set(refusal.value.fields) == {"felt"}

    def test_an_outing_that_is_over_is_not_closed_again(self, cast: Walk, outing: Outing) -> None:
        cast.take_back(outing)

        with pytest.raises(UnableToMoveOuting):
            cast.take_back(outing, lines=[])

    def test_kit_that_was_never_handed_over_is_not_taken_back(self, cast: Walk) -> None:
        kitted = cast.kitted()

        with pytest.raises(Refused):
            cast.take_back(kitted, lines=[])

        assert again(kitted).state == "kitted"
