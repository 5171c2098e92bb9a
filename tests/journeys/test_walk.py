"""One rider through a whole day, and the watch over who is late, on both footings of the demo."""

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.journeys.house import House, eventually, words_of
from tests.journeys.walker import Walker

pytestmark = [pytest.mark.journey, pytest.mark.parametrize("page", ["desk"], indirect=True)]

STATION = "/tarrow-lagoon/"


@pytest.fixture
def walker(page: Page, shots: Path | None) -> Walker:
    return Walker(page, shots, "walk")


def test_a_rider_goes_out_and_comes_back(walker: Walker) -> None:
    page, rider = walker.page, "Lotte Sandrock"
    walker.sign_in("desk")
    address = walker.book(rider)
    walker.keep_kit()
    walker.sign_out()

    walker.sign_in("instructor")
    walker.log_beach(STATION)
    page.goto(address)
    walker.let_go(rider)
    expect(page.get_by_role("row").filter(has_text=rider)).to_contain_text("afloat")

    # Back ashore: one part has a fault, which takes it to the bench at once.
    page.goto(address + "return-check/")
    tag = walker.find_fault()
    expect(page.locator("main")).to_contain_text("closed")
    page.goto(STATION + "bench/")
    expect(page.locator("main")).to_contain_text("Clamp opens under load")

    # Wear is posted by the worker, on every item, without anybody asking.
    page.goto(f"{STATION}kit/{tag}/")
    expect(page.locator("main")).to_contain_text("on bench")

    def posted() -> bool:
        page.reload()
        entries = page.get_by_role("row").filter(has_text="min on the water")
        return entries.filter(has_text="Marram").count() > 0 and "0 min on the water" in page.content()

    eventually(posted, patience_s=60)


def test_the_watch_raises_who_is_late_without_anybody_looking(walker: Walker, house: House) -> None:
    walker.sign_in("manager")
    walker.page.goto(STATION)
    late = walker.page.locator("main").get_by_role("alert").first
    expect(late).to_contain_text("Rescue service")
    late.get_by_role("link").first.click()

    def raised() -> bool:
        walker.page.reload()
        return "Overdue: uncertainty" in walker.page.content()

    eventually(raised, patience_s=60)
    eventually(lambda: any((house.data / "mail").glob("*")), patience_s=60)
    letters = "".join(path.read_text() for path in (house.data / "mail").glob("*"))
    assert "Message-ID: <overdue." in letters
    assert "call the rescue service first" in letters
    assert "Traceback" not in words_of(house)
