"""A colleague with a browser: does what a person does at a station, and looks at pages on the way."""

import re
from pathlib import Path
from urllib.parse import urlparse

from playwright.sync_api import Locator, Page, expect

from tests.journeys.pages import Look


class Walker:
    """Steps of a day that several journeys share."""

    def __init__(self, page: Page, shots: Path | None, name: str) -> None:
        self.page, self.shots, self.name, self.count = page, shots, name, 0

    @property
    def said(self) -> Locator:
        """What the page says was done."""
        return self.page.locator("main").get_by_role("status").first

    def sign_in(self, username: str) -> None:
        self.page.goto("/sign-in/")
        self.page.get_by_label("Username").fill(username)
        self.page.get_by_label("Password").fill("marram-demo")
        self.page.locator("main").get_by_role("button", name="Sign in").click()
        expect(self.page.get_by_role("button", name="Sign out")).to_be_visible()

    def sign_out(self) -> None:
        self.page.get_by_role("button", name="Sign out").click()
        expect(self.page.get_by_role("heading", name="Sign in")).to_be_visible()

    def menu(self, word: str) -> None:
        """Go where the menu leads."""
        self.page.get_by_role("navigation", name="Pages").get_by_role("link", name=word, exact=True).click()
        expect(self.page.get_by_role("navigation").locator("[aria-current]")).to_have_text(word)

    def look(self, what: str) -> None:
        """Take a picture, and hold the page against the accessibility rules and its own width."""
        self.count += 1
        look = Look(self.page)
        if self.shots:
            path = self.shots / f"{self.name}-{self.count:02d}-{what}.png"
            self.page.screenshot(path=path, full_page=True)
        assert look.violations(in_sun=False) == [], what
        assert look.too_wide() == [], what

    def book(self, rider: str) -> str:
        """Book a new rider for the time from now on, badly first; return the outing's address."""
        page = self.page
        page.get_by_role("link", name="Book a party").click()
        hour = int(page.get_by_label("From").input_value().split(":")[0])
        page.get_by_label("Contact").fill(rider)
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
        self.look("book-refused")
        row.get_by_label("Mass in kg").fill("74,5")
        page.get_by_role("button", name="Book", exact=True).click()
        # At some hours of the day the crew has no time left for one rig more: the desk books all the same.
        against = page.get_by_label("Book all the same")
        self.said.or_(against).first.wait_for()
        if against.count():
            against.fill("Rides on a rig that stands")
            page.get_by_role("button", name="Book", exact=True).click()
        expect(self.said).to_contain_text("Booked 1")
        page.get_by_role("link", name=rider).first.click()
        return urlparse(page.url).path

    def keep_kit(self) -> None:
        """Keep the sail that comes first, with its reasons, and what the rider wears."""
        page = self.page
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
        expect(self.said).to_contain_text("Kit chosen")

    def read_card(self) -> None:
        """Read the rig card, which tells every setting, drawn and in numbers."""
        page = self.page
        page.get_by_role("link", name="Rig card").click()
        expect(page.get_by_role("img", name=re.compile("Rig for"))).to_be_visible()
        settings = page.get_by_role("table", name="Settings")
        for setting in ("extension", "boom length", "boom height", "downhaul", "outhaul"):
            expect(settings.get_by_role("rowheader", name=setting, exact=True)).to_be_visible()
        self.look("card")

    def log_beach(self, station: str) -> None:
        """Log the beach as it is."""
        page = self.page
        page.goto(station + "beach/")
        page.get_by_label("Safety boat is manned").check()
        for label, typed in BEACH.items():
            page.get_by_label(label).fill(typed)
        page.get_by_role("button", name="Log the beach").click()
        expect(self.said).to_be_visible()

    def let_go(self, rider: str) -> None:
        """Issue the kit and look it over, too quickly first; let the rider go."""
        page = self.page
        page.get_by_role("button", name="Issue the kit").click()
        expect(page.get_by_role("heading", name="Launch check")).to_be_visible()
        page.get_by_role("button", name="Passed: let").click()
        expect(page.locator("main").get_by_role("alert").first).to_contain_text("Not passed")
        self.look("check-not-passed")
        for tick in page.locator("main input[type=checkbox]").all():
            tick.check()
        page.get_by_role("button", name="Passed: let").click()
        expect(self.said).to_contain_text(f"{rider} is afloat")

    def find_fault(self) -> str:
        """On the return check: everything is back, and the boom has a fault; return its tag."""
        page = self.page
        page.get_by_label("Everything is back").check()
        boom = page.locator("fieldset", has_text="boom:")
        tag = boom.locator("legend").inner_text().split()[1]
        boom.locator("summary").click()
        boom.get_by_label("Fault of").fill("Clamp opens under load")
        page.get_by_label("How did the sail feel?").select_option("right")
        self.look("return")
        page.get_by_role("button", name="Save the return check").click()
        return tag


BEACH = {
    "Instructors on the beach": "2",
    "Wind, mean in kn": "12",
    "Gusts in kn": "15",
    "From, in degrees": "330",
    "Water in °C": "16.5",
}
