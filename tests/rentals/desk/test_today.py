"""Today: what it counts, what it leaves to another page, and what a few letters find."""

from collections.abc import Sequence
from datetime import datetime, timedelta

import pytest
from bs4 import BeautifulSoup, Tag
from django.urls import reverse

from rentals.bookings.models import KitPart
from rentals.desk import queries
from rentals.fleet.models import Item
from rentals.lib import clock
from tests.rentals.browser import signed_in
from tests.rentals.walk import Walk

HTMX = {"HX-Request": "true"}


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


def seen(cast: Walk, *, most: int | None = None, minutes: int = 0) -> queries.Board:
    """The board some minutes later."""
    return queries.board(cast.tarrow, cast.now.date(), now=cast.now + timedelta(minutes=minutes), most=most)


class TestTheDayAtOneGlance:
    def test_the_few_that_come_next_stand_for_all_and_the_rest_is_counted(self, cast: Walk) -> None:
        cast.booked(cast.rider("Late"), hour=15)
        cast.booked(cast.rider("Next"), cast.rider("Also"), hour=11)

        board = seen(cast, most=2)

        assert [row.outing.rider.name for row in board.rows] == ["Next", "Also"]
        assert (board.to_come, board.hidden) == (3, 1)
        assert len(seen(cast).rows) == 3

    def test_whoever_is_late_is_shown_however_many_are_afloat(self, cast: Walk) -> None:
        out = cast.out()

        board = seen(cast, most=0, minutes=60 * 4)

        assert [row.outing.pk for row in board.late] == [out.pk]
        assert board.afloat == 1

    def test_afloat_ones_that_are_not_shown_are_counted(self, cast: Walk) -> None:
        cast.out()

        assert (seen(cast, most=0).unseen_afloat, seen(cast, most=1).unseen_afloat) == (1, 0)

    @pytest.mark.parametrize(("minutes", "said"), [(0, []), (5, ["no kit yet"])])
    def test_a_rider_without_kit_is_short_in_the_last_hour(
        self, cast: Walk, minutes: int, said: list[str]
    ) -> None:
        cast.booked(hour=11)

        assert [row.trouble for row in seen(cast, minutes=minutes).short] == said

    def test_kit_that_is_out_of_use_is_short(self, cast: Walk) -> None:
        cast.kitted()
        cast.faulty("S2")

        assert [row.trouble for row in seen(cast).short] == ["S2 is on bench"]

    def test_kit_that_somebody_still_has_is_short_in_the_last_hour(self, cast: Walk) -> None:
        cast.issued()
        (later,) = cast.booked(cast.moss, hour=14)
        cast.kit(later)

        assert [row.trouble for row in seen(cast, minutes=190).short] == ["still out: S2, M1, D1, F1, A1, W1"]
        assert seen(cast, minutes=100).short == ()
        assert not seen(cast, minutes=190).rows[1].to_issue


class TestFind:
    def found(self, cast: Walk, words: str) -> queries.Found:
        return queries.find(cast.ida, cast.tarrow, words, now=cast.now)

    @pytest.mark.parametrize("words", ["wr", "WREN", "alder"])
    def test_two_letters_find_a_rider_of_today_with_their_party(self, cast: Walk, words: str) -> None:
        cast.booked()

        assert [party.booking.party.contact_name for party in self.found(cast, words).parties] == [
            "Wren Alder"
        ]

    @pytest.mark.parametrize("words", ["", " ", "w"])
    def test_less_finds_nothing(self, cast: Walk, words: str) -> None:
        cast.booked()

        assert self.found(cast, words).count == 0

    def test_a_rider_who_is_not_booked_today_is_found_too(self, cast: Walk) -> None:
        assert cast.moss

        assert self.found(cast, "mo").riders == (cast.moss,)

    @pytest.mark.parametrize(
        "scanned", ["S1", "s1", "https://marram.example/tarrow-lagoon/kit/S1/", "/tarrow-lagoon/kit/S1"]
    )
    def test_a_tag_typed_or_scanned_finds_its_item_alone(self, cast: Walk, scanned: str) -> None:
        cast.rider("S1 Team")
        item = cast.shed["S1"]

        assert self.found(cast, scanned) == queries.Found((), (), (item,))

    def test_part_of_a_model_finds_its_items(self, cast: Walk) -> None:
        assert cast.shed

        assert [item.tag for item in self.found(cast, "samph").items] == ["S1", "S2"]

    def test_of_another_station_nothing_is_found(self, cast: Walk) -> None:
        cast.booked()
        shed: Sequence[Item] = tuple(cast.shed.values())
        assert shed

        for words in ("wren", "S1"):
            assert queries.find(cast.rhys, cast.tarrow, words, now=cast.now).count == 0

    def test_what_is_hit_alone_is_gone_to(self, cast: Walk) -> None:
        outing = cast.kitted()
        client, find = signed_in(cast.desk), reverse("find", args=[cast.tarrow.slug])

        assert client.get(find, {"q": "S2"})["Location"] == reverse("item", args=[cast.tarrow.slug, "S2"])
        assert client.get(find, {"q": "wren"})["Location"] == reverse(
            "issue-party", args=[cast.tarrow.slug, outing.booking_id]
        )

    def test_while_one_types_the_list_alone_is_sent(self, cast: Walk) -> None:
        cast.booked()

        part = signed_in(cast.desk).get(reverse("find", args=[cast.tarrow.slug]), {"q": "wren"}, headers=HTMX)

        assert b"<html" not in part.content
        assert b"1 found" in part.content


class TestIssueToAParty:
    def test_one_button_hands_over_what_is_ticked(self, cast: Walk) -> None:
        outing = cast.kitted()
        client, url = signed_in(cast.desk), reverse("issue-party", args=[cast.tarrow.slug, outing.booking_id])
        box = BeautifulSoup(client.get(url).content, "html.parser").find("input", {"name": "kit"})
        assert isinstance(box, Tag)
        assert box.has_attr("checked")

        answer = client.post(url, {"kit": box["value"]})

        assert answer["Location"] == reverse("today", args=[cast.tarrow.slug])
        assert not KitPart.objects.filter(outing=outing, issued_at=None).exists()

    def test_kit_swapped_meanwhile_is_refused_by_name(self, cast: Walk) -> None:
        outing = cast.kitted()
        url = reverse("issue-party", args=[cast.tarrow.slug, outing.booking_id])

        answer = signed_in(cast.desk).post(url, {"kit": f"{outing.pk}:7"})

        assert answer.status_code == 422
        assert b"Wren Alder&#x27;s kit was swapped" in answer.content

    @pytest.mark.parametrize("kit", [[], ["x"], ["1:"], ["²:1"], [f"{'9' * 5000}:1"]])
    def test_nothing_ticked_is_said(self, cast: Walk, kit: list[str]) -> None:
        url = reverse("issue-party", args=[cast.tarrow.slug, cast.kitted().booking_id])

        answer = signed_in(cast.desk).post(url, {"kit": kit})

        assert answer.status_code == 422
        assert b"Tick who" in answer.content
