"""What every page shares: the menu by role, parts that renew themselves, the language it says it is in."""

from datetime import datetime, timedelta
from uuid import uuid4

import pytest
from bs4 import BeautifulSoup, Tag
from django.urls import reverse

from rentals.afloat.models import LaunchCheck
from rentals.bench.models import ReturnCheck
from rentals.lib import clock, menu
from rentals.lib.access import Act
from tests.rentals.browser import signed_in
from tests.rentals.walk import Walk

HTMX = {"HX-Request": "true"}


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


def words(page: bytes) -> list[str]:
    """The menu, as read."""
    nav = BeautifulSoup(page, "html.parser").find("nav")
    assert isinstance(nav, Tag)
    return [link.get_text(strip=True) for link in nav.find_all("a")]


class TestMenu:
    def test_it_leads_where_a_role_may_go(self, cast: Walk, monkeypatch: pytest.MonkeyPatch) -> None:
        office = menu.Entry("wind", "Sources", "weather", Act.SET_STATION)
        monkeypatch.setattr(menu, "MENU", (*menu.MENU, office))
        url = reverse("kit", args=[cast.tarrow.slug])

        assert "Sources" in words(signed_in(cast.manager).get(url).content)
        assert "Sources" not in words(signed_in(cast.desk).get(url).content)

    def test_it_marks_where_one_is(self, cast: Walk) -> None:
        page = signed_in(cast.desk).get(reverse("kit", args=[cast.tarrow.slug]))

        here = BeautifulSoup(page.content, "html.parser").select('nav a[aria-current="page"]')
        assert [link.get_text() for link in here] == ["Kit"]

    def test_without_a_station_there_is_none(self, cast: Walk) -> None:
        assert BeautifulSoup(signed_in(cast.instructor).get("/").content, "html.parser").find("nav") is None


class TestLivePart:
    def test_htmx_gets_the_part_alone_and_nobody_keeps_it(self, cast: Walk) -> None:
        url, client = reverse("today", args=[cast.tarrow.slug]), signed_in(cast.desk)

        part = client.get(url, headers=HTMX)

        assert b"<html" not in part.content
        assert b"Outings" in part.content
        assert part["Marram-At"] == "10:00:00"
        assert "no-store" in part["Cache-Control"]
        assert "HX-Request" in part["Vary"]

    def test_what_is_on_the_screen_already_is_not_sent_again(
        self, cast: Walk, now: datetime, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        cast.out()
        url, client = reverse("today", args=[cast.tarrow.slug]), signed_in(cast.desk)
        mark = client.get(url, headers=HTMX)["Marram-Part"]
        monkeypatch.setattr(clock, "now", lambda: now + timedelta(seconds=5))

        same = client.get(url, headers={**HTMX, "Marram-Seen": mark})

        assert (same.status_code, same.content, same["Marram-At"]) == (204, b"", "10:00:05")

    def test_a_change_is_sent(self, cast: Walk) -> None:
        outing = cast.out()
        url, client = reverse("today", args=[cast.tarrow.slug]), signed_in(cast.desk)
        mark = client.get(url, headers=HTMX)["Marram-Part"]
        client.post(reverse("ashore", args=[cast.tarrow.slug, outing.pk]))

        changed = client.get(url, headers={**HTMX, "Marram-Seen": mark})

        assert changed.status_code == 200
        assert changed["Marram-Part"] != mark

    def test_the_whole_page_can_be_renewed_without_script(self, cast: Walk) -> None:
        url = reverse("today", args=[cast.tarrow.slug]) + "?day=2027-07-15"

        page = BeautifulSoup(signed_in(cast.desk).get(url).content, "html.parser")

        link = page.find("a", string="Renew")
        assert isinstance(link, Tag)
        assert link["href"] == url
        assert page.select_one(".live-in table") is not None


class TestFilter:
    def test_while_one_types_the_list_alone_is_sent(self, cast: Walk) -> None:
        assert cast.wren
        assert cast.moss
        url = reverse("riders", args=[cast.tarrow.slug])

        part = signed_in(cast.desk).get(url, {"q": "wr"}, headers=HTMX)

        assert b"<html" not in part.content
        assert b"Wren Alder" in part.content
        assert b"Moss Hazel" not in part.content
        assert "no-store" in part["Cache-Control"]


class TestUnits:
    def test_a_device_keeps_the_units_chosen_and_pages_follow(self, cast: Walk) -> None:
        client = signed_in(cast.desk)
        assert cast.wren

        client.post("/units/", {"wind": "Bft", "mass": "lb", "length": "ft-in"})

        page = client.get(reverse("riders", args=[cast.tarrow.slug])).content.decode()
        assert "159 lb" in page
        assert "5 ft 9 in" in page
        assert (
            "72 kg"
            in signed_in(cast.manager).get(reverse("riders", args=[cast.tarrow.slug])).content.decode()
        )


class TestLanguage:
    def test_staff_pages_are_in_english_whatever_the_browser_asks(self, cast: Walk) -> None:
        page = signed_in(cast.desk).get(
            reverse("kit", args=[cast.tarrow.slug]), headers={"Accept-Language": "de"}
        )

        assert b'<html lang="en">' in page.content

    def test_a_chosen_language_is_kept_and_only_leads_back_to_us(self, cast: Walk) -> None:
        client = signed_in(cast.desk)

        answer = client.post("/language/", {"language": "fr", "next": "https://elsewhere.example/"})

        assert answer["Location"] == "/"
        assert client.cookies["language"].value == "fr"


class TestSentAgain:
    """A form whose reply was lost is sent again with its key, goes where the first went, and counts once."""

    def test_a_return_check(self, cast: Walk) -> None:
        outing = cast.out()
        client, url = signed_in(cast.instructor), reverse("return-check", args=[cast.tarrow.slug, outing.pk])
        typed = {"once": str(uuid4()), "all_back": "on", "all_rinsed": "on", "felt": "right"}

        answers = [client.post(url, typed) for _time in range(2)]

        assert [answer["Location"] for answer in answers] == [
            reverse("outing", args=[cast.tarrow.slug, outing.pk])
        ] * 2
        assert ReturnCheck.objects.count() == 1

    def test_a_launch_check(self, cast: Walk) -> None:
        outing = cast.issued()
        client, url = signed_in(cast.instructor), reverse("launch-check", args=[cast.tarrow.slug, outing.pk])
        page = BeautifulSoup(client.get(url).content, "html.parser")
        ticks = {str(box["name"]): "on" for box in page.select('main input[type="checkbox"]')}
        typed = {"once": str(uuid4()), "kit_no": "1", "launch": "1", **ticks}

        answers = [client.post(url, typed).status_code for _time in range(2)]

        assert answers == [302, 302]
        assert LaunchCheck.objects.count() == 1

    def test_a_launch_check_that_did_not_pass_says_so_again(self, cast: Walk) -> None:
        outing = cast.issued()
        client, url = signed_in(cast.instructor), reverse("launch-check", args=[cast.tarrow.slug, outing.pk])
        typed = {"once": str(uuid4()), "kit_no": "1", "launch": "1"}

        assert [client.post(url, typed).status_code for _time in range(2)] == [422, 422]
        assert LaunchCheck.objects.count() == 1
