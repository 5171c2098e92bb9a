"""Labels: which items they are made for, and what a scanned one opens."""

import re
from datetime import datetime
from io import BytesIO
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
import segno
from bs4 import BeautifulSoup
from django.urls import reverse

from rentals.bench.views import labels
from rentals.fleet.models import Item
from rentals.lib import clock
from tests.rentals.browser import protected, signed_in
from tests.rentals.walk import Walk

HTMX = {"HX-Request": "true"}


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


def sheets(cast: Walk, **asked: Any) -> BeautifulSoup:
    response = signed_in(cast.desk).get(reverse("labels", args=[cast.tarrow.slug]), asked)
    assert response.status_code == 200
    protected(response.headers)
    return BeautifulSoup(response.content, "html.parser")


def tags(page: BeautifulSoup) -> list[str]:
    return [tag.get_text() for tag in page.select(".label strong")]


def path_of(address: str) -> Any:
    drawn = BytesIO()
    segno.make(address, micro=False, error="m").save(drawn, kind="svg", border=4, omitsize=True)
    return re.findall(r' d="([^"]+)"', drawn.getvalue().decode())[0]


def crowd(cast: Walk, count: int) -> None:
    model = cast.shed["S1"].model
    Item.objects.bulk_create(
        Item(station=cast.tarrow, model=model, tag=f"Q{number}") for number in range(count)
    )


class TestWhichItems:
    def test_nothing_is_chosen_at_first(self, cast: Walk) -> None:
        assert cast.shed

        page = sheets(cast)

        assert {box["value"] for box in page.select("input[name=tag]")} == set(cast.shed)
        assert tags(page) == []

    def test_of_a_large_shed_a_kind_is_ticked_whole_or_opened_by_itself(self, cast: Walk) -> None:
        crowd(cast, labels.MOST_TICKS)
        page = sheets(cast)
        assert page.select("input[name=tag]") == []
        assert {"sail", "mast"} <= {box["value"] for box in page.select("input[name=kind]")}
        assert page.select_one('a[href="?of=sail#of-sail"]')

        opened = sheets(cast, of="sail")

        listed = {str(box["value"]) for box in opened.select("input[name=tag]")}
        assert listed == set(Item.objects.filter(model__kind="sail").values_list("tag", flat=True))
        assert opened.select_one("#of-sail[open]")
        assert "Nothing was chosen" not in opened.get_text()

    def test_those_ticked_and_all_of_a_kind(self, cast: Walk) -> None:
        sails = [tag for tag in cast.shed if tag.startswith("S")]

        assert set(tags(sheets(cast, tag=["M1"], kind=["sail"]))) == {"M1", *sails}

    def test_the_whole_shed_but_for_what_is_withdrawn(self, cast: Walk) -> None:
        assert cast.shed
        Item.objects.filter(pk=cast.shed["S1"].pk).update(state="withdrawn")

        assert set(tags(sheets(cast, all="1"))) == set(cast.shed) - {"S1"}

    def test_ticks_that_mean_nothing_here_are_asked_again(self, cast: Walk) -> None:
        assert cast.shed

        page = sheets(cast, tag=["Z99"])

        assert "Nothing was chosen" in page.get_text()
        assert tags(page) == []

    def test_a_big_shed_comes_three_sheets_at_a_time(self, cast: Walk) -> None:
        crowd(cast, 100 - len(cast.shed))

        first = sheets(cast, all="1")
        (after,) = first.find_all("a", string="Labels after")
        rest = sheets(cast, **parse_qs(urlsplit(str(after["href"])).query))

        assert [len(sheet.select(".label")) for sheet in first.select(".labels")] == [24] * 3
        assert len(tags(rest)) == 28
        assert len({*tags(first), *tags(rest)}) == 100

    @pytest.mark.parametrize("first", ["", "0", "-3", "²", "9999999", "soon"])
    def test_any_place_to_begin_is_answered(self, cast: Walk, first: str) -> None:
        assert cast.shed
        assert tags(sheets(cast, all="1", **{"from": first}))

    def test_a_full_page_is_light(self, cast: Walk) -> None:
        """Under 200 kB, as every page."""
        crowd(cast, labels.PER_SHEET * labels.SHEETS_AT_ONCE)

        assert len(str(sheets(cast, all="1")).encode()) < 200_000


class TestWhatACodeOpens:
    def test_it_carries_the_address_of_its_item(self, cast: Walk) -> None:
        assert cast.shed
        address = "http://testserver" + reverse("item", args=[cast.tarrow.slug, "S1"])

        (drawn,) = sheets(cast, tag="S1").select(".label svg path")

        assert drawn["d"] == path_of(address)

    @pytest.mark.parametrize("tag", ["S1", "S 1", "Ü#1"])
    def test_scanned_into_the_search_it_opens_the_item(self, cast: Walk, tag: str) -> None:
        if tag not in cast.shed:
            Item.objects.create(station=cast.tarrow, model=cast.shed["S2"].model, tag=tag)
        client, address = signed_in(cast.desk), reverse("item", args=[cast.tarrow.slug, tag])

        found = client.get(reverse("find", args=[cast.tarrow.slug]), {"q": f"http://testserver{address}"})

        assert found["Location"] == address
        assert client.get(address).status_code == 200

    def test_it_brings_no_style_or_script_of_its_own(self, cast: Walk) -> None:
        assert cast.shed

        page = sheets(cast, all="1")

        assert page.select("[style], style, main script") == []

    def test_an_item_leads_to_its_label(self, cast: Walk) -> None:
        assert cast.shed
        page = signed_in(cast.desk).get(reverse("item", args=[cast.tarrow.slug, "S1"])).content

        (link,) = BeautifulSoup(page, "html.parser").find_all("a", string="Print its label")

        assert link["href"] == reverse("labels", args=[cast.tarrow.slug]) + "?tag=S1"


class TestTheKitList:
    def test_it_is_found_while_one_types(self, cast: Walk) -> None:
        assert cast.shed
        url = reverse("kit", args=[cast.tarrow.slug])

        part = signed_in(cast.desk).get(url, {"q": "s1"}, headers=HTMX)

        assert b"<html" not in part.content
        assert b">S1</a>" in part.content
        assert b">M1</a>" not in part.content
