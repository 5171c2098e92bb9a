"""From asking to accepting: what a plan gives, holds and says."""

from rentals.fleet.models import Hold
from rigging.allot.check import violations
from tests.rentals.dayplan.day import Day, read, rigs
from tests.rentals.walk import again


class TestTheWholeWay:
    def test_two_riders_are_served_by_a_plan_that_passes_its_check(self, day: Day) -> None:
        day.two()

        plan = day.solved()

        assert (plan.state, plan.served, plan.unserved, plan.proven) == ("ready", 2, 0, True)
        assert violations(*read(plan)) == ()
        assert not Hold.objects.exists()

    def test_accepted_it_kits_and_cards_everybody(self, day: Day) -> None:
        outings = day.two()

        plan = day.accepted()

        assert plan.state == "accepted"
        assert {again(outing).state for outing in outings} == {"kitted"}
        assert [day.cast.card(again(outing)).kit_no for outing in outings] == [1, 1]
        assert len(rigs(plan)) == 2
