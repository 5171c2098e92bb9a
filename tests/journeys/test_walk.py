"""One rider through a whole day, on a desk's screen and on a phone, on both footings of the demo."""

import re
from pathlib import Path
from urllib.parse import urlparse

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.journeys.house import House, eventually, words_of

pytestmark = pytest.mark.journey

STATION = "/tarrow-lagoon/"


class Walker:
    """A colleague with a browser: looks at every page before leaving it."""

    def __init__(self, page: Page, shots: Path, name: str) -> None:
        self.page, self.shots, self.name, self.count = page, shots, name, 0

    def sign_in(self, username: str) -> None:
        self.page.goto("/sign-in/")
        self.page.get_by_label("Username").fill(username)
        self.page.get_by_label("Password").fill("marram-demo")
        self.page.locator("main").get_by_role("button", name="Sign in").click()
        expect(self.page.get_by_role("button", name="Sign out")).to_be_visible()

    def sign_out(self) -> None:
        self.page.get_by_role("button", name="Sign out").click()
        expect(self.page.get_by_role("heading", name="Sign in")).to_be_visible()

    def look(self, what: str) -> None:
        """Take a picture, and hold the page against the accessibility rules and its own width."""
        self.count += 1
        self.page.screenshot(path=self.shots / f"{self.name}-{self.count:02d}-{what}.png", full_page=True)
        found = Axe().run(self.page).response["violations"]
        assert [(each["id"], each["nodes"][0]["html"]) for each in found] == [], what
        wide = self.page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        assert wide <= 0, f"{what} is {wide} px wider than the screen"


@pytest.fixture
def walker(page: Page, shots: Path, request: pytest.FixtureRequest) -> Walker:
    return Walker(page, shots, re.sub(r"\W+", "-", request.node.callspec.id))


def test_a_rider_goes_out_and_comes_back(walker: Walker, house: House) -> None:
    page = walker.page
    rider = f"Lotte Sandrock {walker.name.title()}"

    # The desk books a new rider for the time from now on.
    walker.sign_in("desk")
    walker.look("today")
    page.get_by_role("link", name="Book a party").click()
    as_of = page.get_by_label("From").input_value()
    hour = int(as_of.split(":")[0])
    page.get_by_label("Contact").fill("Lotte Sandrock")
    page.locator("#id_contact_phone").fill("0700 123 456")
    page.get_by_label("From").fill(f"{hour - 1:02d}:30")
    page.get_by_label("Until").fill(f"{hour + 1:02d}:15")
    page.locator("summary", has_text="New rider").first.click()
    row = page.get_by_role("group", name="Rider 1")
    row.get_by_label("Name", exact=True).fill(rider)
    row.get_by_label("Born on").fill("1990-05-17")
    row.get_by_label("Mass in kg").fill("750")
    row.get_by_label("Stature in cm").fill("178")
    row.get_by_label("Level").select_option("intermediate")
    row.get_by_label("States that they can swim").check()
    row.get_by_label("Waiver signed").check()
    page.get_by_role("button", name="Book", exact=True).click()
    expect(page.locator(".summary")).to_contain_text("between 20 and 160 kg")
    expect(row.get_by_label("Name", exact=True)).to_have_value(rider)
    walker.look("book-refused")
    row.get_by_label("Mass in kg").fill("74,5")
    page.get_by_role("button", name="Book", exact=True).click()
    # At some hours of the day the crew has no time left for one rig more: the desk books all the same.
    booked, against = page.get_by_role("status"), page.get_by_label("Book all the same")
    booked.or_(against).first.wait_for()
    if against.count():
        against.fill("Rides on a rig that stands")
        page.get_by_role("button", name="Book", exact=True).click()
    expect(booked).to_contain_text("Booked 1")

    # The sail that suits weight and wind comes first, with its reasons; the kit is held.
    page.get_by_role("link", name=rider).first.click()
    address = urlparse(page.url).path
    walker.look("outing")
    first = page.locator(".pick").first
    expect(first).to_contain_text(re.compile(r"powered \d+ % of the slot"))
    first.locator("summary").click()
    expect(first).to_contain_text("74.5 kg at intermediate level")
    for worn in ("Buoyancy aid", "Wetsuit"):
        # None is proposed when the rider's size is out: then staff choose.
        choose = page.get_by_label(worn)
        if not choose.input_value():
            choose.select_option(index=1)
    page.get_by_role("button", name="Keep this kit").click()
    expect(page.get_by_role("status")).to_contain_text("Kit chosen")

    # The rig card tells every setting, drawn and in numbers.
    page.get_by_role("link", name="Rig card").click()
    expect(page.get_by_role("img", name=re.compile("Rig for"))).to_be_visible()
    for setting in ("extension", "boom length", "boom height", "downhaul", "outhaul"):
        settings = page.get_by_role("table", name="Settings")
        expect(settings.get_by_role("rowheader", name=setting, exact=True)).to_be_visible()
    walker.look("card")
    walker.sign_out()

    # The instructor logs the beach, issues the kit, looks it over and lets the rider go.
    walker.sign_in("instructor")
    page.goto(STATION + "beach/")
    page.get_by_label("Safety boat is manned").check()
    page.get_by_label("Instructors on the beach").fill("2")
    page.get_by_label("Wind, mean in kn").fill("12")
    page.get_by_label("Gusts in kn").fill("15")
    page.get_by_label("From, in degrees").fill("330")
    page.get_by_label("Water in °C").fill("16.5")
    walker.look("beach")
    page.get_by_role("button", name="Log the beach").click()
    page.goto(address)
    page.get_by_role("button", name="Issue the kit").click()
    expect(page.get_by_role("heading", name="Launch check")).to_be_visible()
    page.get_by_role("button", name="let", exact=False).first.click()
    expect(page.locator("main").get_by_role("alert").first).to_contain_text("Not passed")
    walker.look("check-not-passed")
    for tick in page.locator("main input[type=checkbox]").all():
        tick.check()
    page.get_by_role("button", name="Passed: let").click()
    expect(page.get_by_role("status")).to_contain_text("is afloat")
    row_today = page.get_by_role("row").filter(has_text=rider)
    expect(row_today).to_contain_text("afloat")

    # Back ashore: one part has a fault, which takes it to the bench at once.
    page.goto(address + "return-check/")
    page.get_by_label("Everything is back").check()
    boom = page.locator("fieldset", has_text="boom:")
    tag = (boom.locator("legend").inner_text()).split()[1]
    boom.locator("summary").click()
    boom.get_by_label("Fault of").fill("Clamp opens under load")
    page.get_by_label("How did the sail feel?").select_option("right")
    walker.look("return")
    page.get_by_role("button", name="Save the return check").click()
    expect(page.locator("main")).to_contain_text("closed")
    walker.look("outing-closed")
    page.goto(STATION + "bench/")
    expect(page.locator("main")).to_contain_text("Clamp opens under load")
    walker.look("bench")

    # Wear is posted by the worker, on every item, without anybody asking.
    page.goto(f"{STATION}kit/{tag}/")
    expect(page.locator("main")).to_contain_text("on bench")

    def posted() -> bool:
        page.reload()
        entries = page.get_by_role("row").filter(has_text="min on the water")
        return entries.filter(has_text="Marram").count() > 0 and "0 min on the water" in page.content()

    eventually(posted, patience_s=60)
    walker.look("item")


def test_every_other_page_reads_well(walker: Walker) -> None:
    walker.sign_in("manager")
    walker.look("home")

    for name in (
        "",
        "wind/",
        "kit/",
        "book/",
        "bench/",
        "life/",
        "review/",
        "review/month/",
        "review/lists/",
        "station/",
        "find/?q=an",
        "riders/",
    ):
        walker.page.goto(STATION + name)
        walker.look(re.sub(r"\W+", "-", name).strip("-") or "today")
    walker.page.get_by_role("row").get_by_role("link").first.click()
    walker.look("rider")


def test_it_reads_well_in_the_dark(walker: Walker) -> None:
    walker.page.emulate_media(color_scheme="dark")
    walker.sign_in("manager")

    for name in ("", "wind/", "kit/", "bench/"):
        walker.page.goto(STATION + name)
        walker.look(f"dark-{name.strip('/') or 'today'}")


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
