"""Handing kit over, calling an outing off, and the holds that come and go with it."""

import pytest

from rentals.bookings.models import KitPart, Outing
from rentals.bookings.services import UnableToBook, UnableToMoveOuting
from rentals.fleet.models import Hold, Item, Rig
from rentals.fleet.services import UnableToMove
from rentals.takings.services import cancel_outing
from tests.rentals.walk import HOUR, Walk, again

RIG = ("S2", "M1", "B1", "X1", "T1")
"""The tags that rig the usual sail: the 5.7, luff 428 cm, on the 400 cm mast."""


def call_off(cast: Walk, outing: Outing, *, missed: bool = False, reason: str = "Child is ill") -> Outing:
    return cancel_outing(
        actor=cast.ida, outing_id=outing.pk, missed=missed, reason=reason, now=cast.now + HOUR
    )


class TestIssue:
    @pytest.fixture
    def outing(self, cast: Walk) -> Outing:
        return cast.kitted()

    def test_every_item_is_with_the_rider(self, cast: Walk, outing: Outing) -> None:
        cast.issue(outing)

        parts = cast.kit_of(outing)
        assert {part.issued_at for part in parts} == {cast.now}
        assert {part.item.state for part in parts} == {"issued"}

    def test_the_outing_waits_for_its_launch_check(self, cast: Walk, outing: Outing) -> None:
        assert cast.issue(outing).state == "kitted"

    def test_the_rig_stands_built(self, cast: Walk, outing: Outing) -> None:
        cast.issue(outing)

        rig = Rig.objects.get()
        found = tuple(item.tag for item in (rig.sail, rig.mast, rig.boom, rig.extension, rig.base))
        assert found == RIG
        assert set(Item.objects.filter(tag__in=RIG).values_list("rig_ups", flat=True)) == {1}

    def test_the_journal_of_each_item_says_to_whom(self, cast: Walk, outing: Outing) -> None:
        cast.issue(outing)

        for part in cast.kit_of(outing):
            assert cast.told("item", part.item_id) == ["Issued to Wren Alder"]

    def test_twice_is_once(self, cast: Walk, outing: Outing) -> None:
        cast.issue(outing)
        cast.issue(outing, now=cast.now + HOUR)

        assert {part.issued_at for part in cast.kit_of(outing)} == {cast.now}
        assert cast.told("item", cast.shed["S2"].pk) == ["Issued to Wren Alder"]
        assert Item.objects.get(tag="S2").rig_ups == 1

    @pytest.mark.parametrize("state", ["held_back", "on_bench", "withdrawn"])
    def test_an_item_that_must_not_go_out_is_refused_by_name(
        self, cast: Walk, outing: Outing, state: str
    ) -> None:
        Item.objects.filter(tag="M1").update(state=state)

        with pytest.raises(UnableToMove, match=f"M1 is {state.replace('_', ' ')}"):
            cast.issue(outing)

        assert not KitPart.objects.filter(issued_at__isnull=False).exists()
        assert cast.state_of("S2") == "ready"

    def test_an_item_still_with_somebody_else_is_refused(self, cast: Walk, outing: Outing) -> None:
        (later,) = cast.booked(cast.rider("Bram Sallow", level="advanced"), hour=14)
        cast.kit(later)
        cast.issue(outing)

        with pytest.raises(UnableToMove, match="S2 is issued"):
            cast.issue(later)

    def test_kit_swapped_meanwhile_is_not_handed_over(self, cast: Walk, outing: Outing) -> None:
        cast.kit(outing, board_id=cast.shed["D2"].pk, override_reason="Wants to float")

        with pytest.raises(UnableToMoveOuting, match="swapped meanwhile"):
            cast.issue(outing, kit_no=1)

    def test_without_kit_there_is_nothing_to_hand_over(self, cast: Walk) -> None:
        (outing,) = cast.booked()

        with pytest.raises(UnableToMoveOuting, match="none is chosen"):
            cast.issue(outing, kit_no=0)


class TestCallOff:
    @pytest.mark.parametrize(
        ("missed", "state", "said"),
        [(False, "cancelled", "Cancelled: Child is ill"), (True, "no_show", "Did not come: Child is ill")],
    )
    def test_its_kit_is_free_again(self, cast: Walk, missed: bool, state: str, said: str) -> None:
        outing = cast.kitted()

        call_off(cast, outing, missed=missed)

        assert again(outing).state == state
        assert not Hold.objects.filter(live=True).exists()
        assert cast.told("outing", outing.pk)[0] == said

    def test_it_asks_why(self, cast: Walk) -> None:
        (outing,) = cast.booked()

        with pytest.raises(UnableToBook) as refusal:
            call_off(cast, outing, reason="  ")

        assert "reason" in refusal.value.fields
        assert again(outing).state == "booked"

    def test_not_while_the_kit_is_with_the_rider(self, cast: Walk) -> None:
        outing = cast.issued()

        with pytest.raises(UnableToMoveOuting, match="Take it back first"):
            call_off(cast, outing)

    def test_not_when_it_is_over(self, cast: Walk) -> None:
        outing = cast.returned()

        with pytest.raises(UnableToMoveOuting, match="closed"):
            call_off(cast, outing)
