"""Handing a whole party its kit."""

import pytest

from rentals.bookings.models import KitPart
from rentals.bookings.services import UnableToMoveOuting
from rentals.desk.services.issuing import NobodyNamed, issue_party
from rentals.fleet.models import Kind
from tests.rentals.walk import Walk


class TestIssueToAParty:
    def test_everybody_named_gets_their_kit(self, cast: Walk) -> None:
        cast.blow()
        outings = cast.booked(cast.wren, cast.fern)
        cast.kit(outings[0])
        cast.one_more("M9", like="M1")
        sail, board = cast.one_more("S9", like="S2"), cast.one_more("D9", like="D1")
        worn = {Kind.BUOYANCY_AID: cast.shed["A2"].pk, Kind.WETSUIT: cast.shed["W2"].pk}
        cast.kit(outings[1], sail_id=sail.pk, board_id=board.pk, worn=worn, override_reason="Grows fast")

        handed = issue_party(actor=cast.ida, kits={each.pk: 1 for each in outings}, now=cast.now)

        assert [each.pk for each in handed] == [each.pk for each in outings]
        assert not KitPart.objects.filter(outing__in=outings, issued_at=None).exists()

    def test_nobody_does_when_one_cannot(self, cast: Walk) -> None:
        cast.blow()
        ready, without = cast.booked(cast.wren, cast.fern)
        cast.kit(ready)

        with pytest.raises(UnableToMoveOuting, match=without.rider.name):
            issue_party(actor=cast.ida, kits={ready.pk: 1, without.pk: 0}, now=cast.now)

        assert not KitPart.objects.filter(issued_at__isnull=False).exists()

    def test_somebody_must_be_named(self, cast: Walk) -> None:
        assert cast.tarrow
        with pytest.raises(NobodyNamed, match="Tick who"):
            issue_party(actor=cast.ida, kits={}, now=cast.now)
