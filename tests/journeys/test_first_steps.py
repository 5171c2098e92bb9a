"""An empty station: set up, looked around in with the demo, and emptied of it again."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.journeys.walker import Walker

pytestmark = [pytest.mark.journey, pytest.mark.parametrize("house", ["embedded"], indirect=True)]

FACTS = {
    "Time zone": "Europe/Lisbon",
    "Latitude in degrees": "45.2",
    "Longitude in degrees": "-9.6",
    "Bearing to the open water": "250",
    "Number of the rescue service": "0800 000 000",
    "Email of the watch": "watch@sedge.invalid",
}


def test_the_demo_is_one_tap_away_and_one_tap_removed(
    page: Page, shots: Path | None, founder: str, request: pytest.FixtureRequest
) -> None:
    walker = Walker(page, shots, "first-steps-" + re.sub(r"\W+", "-", request.node.callspec.id))
    walker.sign_in(founder)
    page.goto("/set-up/")
    page.get_by_label("Name", exact=True).fill(f"Sedge Point {request.node.callspec.id}")
    for label, typed in FACTS.items():
        page.get_by_label(label).fill(typed)
    page.get_by_role("button", name="Begin this station").click()
    expect(walker.said).to_contain_text("You are its manager")

    page.get_by_role("link", name="First steps").click()
    expect(page.locator("main .tag", has_text="to do")).to_have_count(6)
    walker.look("empty")
    page.get_by_role("button", name="Load the demo").click()
    page.get_by_role("link", name="Open the day").click(timeout=60_000)
    expect(page.get_by_role("heading", name="Outings")).to_be_visible()

    walker.menu("Kit")
    expect(page.locator("main")).to_contain_text("148 items")
    walker.menu("Station")
    page.get_by_role("link", name="First steps").click()
    walker.look("loaded")
    page.locator("summary", has_text="Remove the demo").click()
    page.get_by_role("button", name="Yes, remove it").click()
    expect(page.locator("main")).to_contain_text("The demo is gone.", timeout=60_000)
    walker.look("removed")
    page.get_by_role("link", name="First steps").click()
    expect(page.get_by_role("button", name="Load the demo")).to_be_visible()
