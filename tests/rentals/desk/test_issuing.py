"""Handing a whole party its kit."""

from datetime import datetime

import pytest
from bs4 import BeautifulSoup
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from rentals.bench import services as bench
from rentals.bookings import queries as bookings
from rentals.bookings.models import KitPart, Outing
from rentals.bookings.services import UnableToMoveOuting
from rentals.desk.services.issuing import NobodyNamed, issue_party
from rentals.fleet.models import Kind
from rentals.lib import clock
from tests.rentals.browser import signed_in
from tests.rentals.walk import Walk


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


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


class TestWhatAnOutingsPageOffers:
    """“Issue the kit” stands there when a tap on it issues it, and else who is in the way."""

    def page(self, cast: Walk, outing: Outing) -> BeautifulSoup:
        answer = signed_in(cast.desk).get(reverse("outing", args=[cast.tarrow.slug, outing.pk]))
        return BeautifulSoup(answer.content, "html.parser")

    def offered(self, page: BeautifulSoup) -> bool:
        return page.select_one('form[action$="/issue/"]') is not None

    def issues(self, cast: Walk, outing: Outing) -> int:
        """Whether the tap issues it, whatever the page offers."""
        address = reverse("issue", args=[cast.tarrow.slug, outing.pk])
        return signed_in(cast.desk).post(address, {"kit_no": outing.kit_no}).status_code

    def said(self, page: BeautifulSoup) -> str:
        note = page.find(string="This kit cannot be issued yet.")
        around = None if note is None else note.find_parent("div")
        return "" if around is None else " ".join(around.get_text(" ", strip=True).split())

    def test_kit_that_is_here(self, cast: Walk) -> None:
        outing = cast.kitted()
        page = self.page(cast, outing)

        assert self.offered(page)
        assert self.said(page) == ""
        assert self.issues(cast, outing) == 302

    def test_kit_that_somebody_else_still_has(self, cast: Walk) -> None:
        out = cast.out()
        waiting = cast.kitted(cast.moss, hour=15)
        page = self.page(cast, waiting)

        assert not self.offered(page)
        taken, wanted = ({part.item.tag for part in cast.kit_of(each)} for each in (out, waiting))
        tags = sorted(taken & wanted)
        assert f"{', '.join(tags)}: with Wren Alder , afloat, until Wed 14 Jul 2027, 13:00." in self.said(
            page
        )
        assert self.issues(cast, waiting) == 409

    def test_who_has_it_and_is_late(self, cast: Walk, monkeypatch: pytest.MonkeyPatch) -> None:
        cast.out()
        waiting = cast.kitted(cast.moss, hour=15)
        monkeypatch.setattr(clock, "now", lambda: cast.at(14))

        assert "was due Wed 14 Jul 2027, 13:00 and is not back." in self.said(self.page(cast, waiting))

    def test_kit_that_is_promised_to_somebody_before(self, cast: Walk) -> None:
        cast.kitted(cast.moss)
        later = cast.kitted(hour=15)
        page = self.page(cast, later)

        assert not self.offered(page)
        assert "promised before to Moss Hazel , Wed 14 Jul 2027, 11:00 until 13:00." in self.said(page)
        assert self.issues(cast, later) == 409

    def test_kit_of_which_something_is_on_the_bench(self, cast: Walk) -> None:
        outing = cast.kitted()
        bench.report_fault(actor=cast.ida, item_id=cast.shed["M1"].pk, fault="Cracked", now=cast.now)
        page = self.page(cast, outing)

        assert not self.offered(page)
        assert page.find(string="on bench: choose again")
        assert self.issues(cast, outing) == 409

    def test_back_again_it_is_offered(self, cast: Walk) -> None:
        out = cast.out()
        waiting = cast.kitted(cast.moss, hour=15)
        cast.take_back(out)

        assert self.offered(self.page(cast, waiting))
        assert self.issues(cast, waiting) == 302

    def test_those_in_the_way_are_one_query_however_many(self, cast: Walk) -> None:
        cast.out()
        waiting = cast.kitted(cast.moss, hour=15)

        with CaptureQueriesContext(connection) as asked:
            found = bookings.in_the_way(waiting, now=cast.now)
            assert [(str(each.outing.rider), each.has_it) for each in found] == [("Wren Alder", True)]

        assert len(asked) == 1
