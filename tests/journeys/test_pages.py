"""Every page that a person can open, in a browser: readable, light, usable by thumb and by keyboard."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import APIRequestContext, Page, expect

from tests.journeys import hands
from tests.journeys.conftest import WIDTHS, People
from tests.journeys.house import House, eventually
from tests.journeys.pages import BEACH, HEAVIEST_BYTES, Crawl, Look, names, parts_of, settled

pytestmark = [pytest.mark.journey, pytest.mark.parametrize("house", ["embedded"], indirect=True)]

STATION = "/tarrow-lagoon/"
HEIGHT = 900
LONG = "Wolfeschlegelsteinhausenbergerdorff Junior"
"""A name with a word longer than a phone is wide; people with such names exist."""
NARROW, WIDE = WIDTHS["phone"], WIDTHS["desk"]


@pytest.fixture(scope="module")
def found(house: House, people: People) -> dict[str, list[str]]:
    """Where each page is: whatever links lead to, once there is something to show on every page."""
    ask = people.signed_in("manager").request
    ours = _prepare(ask)
    eventually(lambda: _may_move(ask, house), patience_s=60)
    looked = "/visit/tarrow-lagoon/?half=any&hours=2&rider-0-mass_kg=75&rider-0-level=intermediate"
    crawl = Crawl(ask)
    found_by_typing = [STATION + "find/?q=an", looked, *_visits(house)]
    crawl.follow(STATION, *ours, *found_by_typing, STATION + "lessons/wind/", "/")
    assert crawl.broken == []
    crawl.found["front-book"] = ["/visit/tarrow-lagoon/book/"]
    crawl.found["sign"] = [_handed(people)]
    crawl.found["sign-in"] = ["/sign-in/"]
    crawl.found["checks-ready"] = ["/checks-ready/"]
    crawl.found["set-up"] = ["/set-up/"]
    return crawl.found


def _visits(house: House) -> list[str]:
    """The secret addresses that were mailed so far."""
    letters = "".join(path.read_text() for path in (house.data / "mail").glob("*"))
    return sorted(set(re.findall(r"/visit/[\w-]+/b/[\w-]+/", letters)))


def _may_move(ask: APIRequestContext, house: House) -> bool:
    """Whether the party that can still choose another time has its letter; others may have theirs before."""
    return any(hands.read(ask, visit).select_one('a[href$="/move/"]') for visit in _visits(house))


def _prepare(ask: APIRequestContext) -> list[str]:
    """Leave something to show on every page; return where some of it is."""
    outings = [str(link["href"]) for link in hands.read(ask, STATION).select('main a[href*="/outings/"]')]
    kitted = (each for each in outings if hands.read(ask, each).select_one('form[action$="/issue/"]'))
    # Some of it is with riders still out.
    issued = next(each for each in kitted if hands.send(ask, each, to="/issue/", refusable=True))
    rider = hands.read(ask, issued).select_one('main a[href*="/riders/"]')
    assert rider is not None
    hands.send(ask, str(rider["href"]), {"name": LONG})
    hands.send(ask, STATION + "rig-up/", to="/rig-up/ask/")
    eventually(lambda: "/riders/" in str(hands.read(ask, STATION + "rig-up/")), patience_s=90)
    models = hands.read(ask, STATION + "recalls/").select("option")
    helmet = next(str(each["value"]) for each in models if each.get_text().startswith("helmet"))
    hands.send(ask, STATION + "recalls/", {"model": helmet, "reason": "Buckle comes loose"})
    return [issued, _credit(ask), _errand(ask)]


def _credit(ask: APIRequestContext) -> str:
    """Sell a voucher to a party of the day; return the page of credits."""
    party = hands.read(ask, STATION + "takings/").select_one('main a[href*="/parties/"]')
    assert party is not None
    hands.send(ask, str(party["href"]), {"amount": "20", "method": "cash"}, to="/voucher/")
    return STATION + "takings/credits/"


def _errand(ask: APIRequestContext) -> str:
    """Ask for a long table, and wait until it is written."""
    asked = hands.send(ask, STATION + "takings/", to="/entries.csv")
    assert asked is not None
    eventually(lambda: "Download the file" in str(hands.read(ask, asked.path)), patience_s=60)
    return asked.path


def _handed(people: People) -> str:
    """Hand the tablet over to somebody who is to sign; return the page that it shows."""
    ask = people.apart("desk").request
    rider = hands.read(ask, STATION + "riders/").select_one('main th a[href*="/riders/"]')
    assert rider is not None
    handed = hands.send(ask, f"{rider['href']}hand-over/")
    assert handed is not None
    return handed.path


@pytest.mark.parametrize("name", names())
def test_it_reads_well(
    name: str, found: dict[str, list[str]], people: People, shots: Path | None, request: pytest.FixtureRequest
) -> None:
    assert name in found, "no link leads there; if it is no page, name it in NOT_PAGES"
    who = request.getfixturevalue("founder") if name == "set-up" else "manager"
    context = people.anonymous() if name in ("sign", "sign-in") else people.signed_in(who)
    wrong: list[str] = []
    for path in found[name]:
        page = context.new_page()
        page.set_viewport_size({"width": WIDE, "height": HEIGHT})
        answer = page.goto(path)
        assert answer is not None
        assert answer.status == 200
        wrong += [f"{path} {what}: {said}" for what, said in looked_at(page, name, shots).items() if said]
        page.close()
    assert not wrong, "\n".join(wrong)


def looked_at(page: Page, name: str, shots: Path | None) -> dict[str, object]:
    """Hold a page against everything that it must keep; return what it does not."""
    look, path = Look(page), parts_of(page.url.partition("//")[2].partition("/")[2])
    settled(page)
    look.hold_still()
    wrong: dict[str, object] = {}
    weight = look.weight()
    if weight >= HEAVIEST_BYTES:
        wrong["weighs"] = weight
    for device, width in WIDTHS.items():
        page.set_viewport_size({"width": width, "height": HEIGHT})
        if shots:
            page.screenshot(path=shots / f"{path}-{width}.png", full_page=True)
        wrong[f"{device} wide"] = look.too_wide()
    if name in BEACH:
        wrong["targets"] = look.small_targets()
    look.shorten_lists()
    wrong["keys"] = look.not_reached()
    for width in (NARROW, WIDE):
        page.set_viewport_size({"width": width, "height": HEIGHT})
        wrong[f"{width} light"] = look.violations(in_sun=name in BEACH)
        page.emulate_media(color_scheme="dark")
        wrong[f"{width} dark"] = look.violations(in_sun=name in BEACH)
        page.emulate_media(color_scheme="light", media="print")
        wrong[f"{width} print"] = look.violations(in_sun=name in BEACH)
        page.emulate_media(media="screen")
    return wrong


class TestErrors:
    """Pages that nobody means to see."""

    @pytest.fixture
    def page(self, people: People) -> Iterator[Page]:
        page = people.signed_in("desk").new_page()
        page.set_viewport_size({"width": WIDE, "height": HEIGHT})
        yield page
        page.close()

    @pytest.mark.parametrize(
        ("path", "status", "said"),
        [
            (STATION + "nothing/here/", 404, "There is nothing here"),
            ("/kettle-bay/", 404, "There is nothing here"),
            (STATION + "review/", 403, "you must be manager"),
        ],
    )
    def test_it_says_what_to_do(
        self, page: Page, shots: Path | None, path: str, status: int, said: str
    ) -> None:
        answer = page.goto(path)

        assert answer is not None
        assert answer.status == status
        expect(page.locator("main")).to_contain_text(said)
        wrong = {what: found for what, found in looked_at(page, "error", shots).items() if found}
        assert wrong == {}

    def test_a_page_that_was_too_old_says_that_nothing_was_changed(
        self, page: Page, shots: Path | None
    ) -> None:
        page.goto("/units/")
        page.evaluate("document.querySelector('main [name=csrfmiddlewaretoken]').remove()")
        page.get_by_role("button", name="Keep these units").click()

        expect(page.get_by_role("alert")).to_contain_text("Nothing was changed")
        wrong = {what: found for what, found in looked_at(page, "error", shots).items() if found}
        assert wrong == {}
