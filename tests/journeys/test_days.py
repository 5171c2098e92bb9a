"""The working day of each of three people, from signing in to closing, on desk, tablet and phone screens."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.journeys import hands
from tests.journeys.conftest import People
from tests.journeys.walker import Walker

pytestmark = [pytest.mark.journey, pytest.mark.parametrize("house", ["embedded"], indirect=True)]

STATION = "/kettle-bay/"


@pytest.fixture
def walker(page: Page, shots: Path | None, request: pytest.FixtureRequest) -> Walker:
    return Walker(page, shots, re.sub(r"\W+", "-", request.node.callspec.id))


def test_at_the_desk(walker: Walker) -> None:
    page, rider = walker.page, f"Lotte Sandrock {walker.name}"
    walker.sign_in("kettle")
    expect(page.get_by_role("heading", name="Outings")).to_be_visible()

    address = walker.book(rider)
    walker.keep_kit()
    walker.read_card()
    page.goto(STATION)
    page.get_by_label("Find a party, rider or item").press_sequentially(rider)
    expect(page.locator("#found")).to_contain_text("1 found")
    page.get_by_role("link", name=f"Issue to {rider}").click()
    page.get_by_role("button", name="Issue to 1 rider").click()
    expect(walker.said).to_contain_text(f"Issued to {rider}")

    page.goto(address)
    page.locator("main").get_by_role("link", name=rider, exact=True).click()
    page.get_by_role("button", name=re.compile("^Charge ")).click()
    expect(walker.said).to_be_visible()
    page.get_by_role("button", name=re.compile("^Cash ")).click()
    expect(page.get_by_role("heading", name="Paid")).to_be_visible()
    walker.look("account")

    page.goto(address + "return-check/")
    page.get_by_label("Everything is back").check()
    page.get_by_role("button", name="Save the return check").click()
    expect(page).to_have_url(re.compile(f"{address}$"))
    walker.menu("Takings")
    expect(page.get_by_text("A manager closes it")).to_be_visible()
    walker.look("takings")
    walker.sign_out()


def test_on_the_beach(walker: Walker, people: People) -> None:
    page, rider = walker.page, f"Cora Dunlin {walker.name}"
    address = booked(people, rider)
    walker.sign_in("instructor")
    page.get_by_role("link", name="Kettle Bay").click()
    walker.menu("Rig-up")
    walker.log_beach(STATION)

    page.goto(address)
    walker.let_go(rider)
    walker.menu("Afloat")
    page.get_by_role("button", name=f"Seen: {rider}").click()
    seen = page.get_by_role("listitem").filter(has=page.get_by_role("link", name=rider, exact=True))
    expect(seen).to_contain_text("Last seen")
    walker.look("afloat")
    page.get_by_role("button", name=f"Ashore: {rider}").click()
    expect(seen).to_have_count(0)

    # The connection is lost over the return check, which is kept on the device and sent when it is back.
    page.goto(address + "return-check/")
    page.wait_for_function("navigator.serviceWorker.controller !== null")
    page.wait_for_function("caches.match('/static/kept.html').then((found) => found !== undefined)")
    page.context.set_offline(True)
    walker.find_fault()
    expect(page.get_by_role("heading", name="No connection")).to_be_visible()
    expect(page.locator("#waiting")).to_contain_text("waiting to be sent")
    page.context.set_offline(False)
    expect(page.locator("#waiting")).to_be_hidden(timeout=20_000)
    page.goto(address)
    expect(page.locator("main")).to_contain_text("closed")
    page.goto(STATION + "bench/")
    expect(page.locator("main")).to_contain_text("Clamp opens under load")

    close_the_beach(walker)
    walker.sign_out()


def test_in_the_office(walker: Walker) -> None:
    page = walker.page
    walker.sign_in("manager")
    page.get_by_role("link", name="Kettle Bay").click()

    walker.menu("Rig-up")
    page.get_by_role("button", name=re.compile("^Plan")).click()
    page.get_by_role("button", name=re.compile("^Accept plan")).click(timeout=60_000)
    expect(page.get_by_text(re.compile(r"plan \d+ in force since"))).to_be_visible()
    tick_a_rig(walker)
    walker.look("rig-up")

    walker.menu("Incidents")
    page.get_by_role("link", name="Report an incident").click()
    page.get_by_label("What was it?").select_option("near_miss")
    page.get_by_label("How bad?").select_option("none")
    page.get_by_label("What happened?").fill("A board drifted off the slip; the boat brought it back.")
    page.get_by_role("button", name="Report it").click()
    page.get_by_label("What was learnt?").fill("Boards lie above the tide line.")
    page.get_by_role("button", name="Close the incident").click()
    expect(page.locator("main")).to_contain_text("closed")

    walker.menu("Review")
    page.locator("summary", has_text="The same as a table").first.click()
    expect(page.get_by_role("table").first).to_be_visible()
    walker.menu("Station")
    page.get_by_role("button", name="Save the limits").click()
    expect(walker.said).to_contain_text("Wind limits saved")

    walker.menu("Takings")
    close = page.get_by_role("button", name=re.compile("^Close "))
    closed = page.get_by_text(re.compile("^Closed .* by Maud Trevane"))
    close.or_(closed).wait_for()
    if close.count():  # the takings of a day are closed once, by the first of these journeys
        page.get_by_label("Cash counted").fill("0")
        page.get_by_label("Left in the drawer").fill("0")
        page.get_by_label("Note").fill("Counted with the desk")
        close.click()
    expect(closed).to_be_visible()
    walker.look("closed")
    walker.sign_out()


def booked(people: People, rider: str) -> str:
    """Book a rider for the time from now on, and keep the kit offered; return the outing's address."""
    ask = people.signed_in("kettle").request
    hour = int(str(hands.read(ask, STATION + "book/").select_one("#id_starts_at")["value"]).split(":")[0])  # type: ignore[index]
    typed = {
        "contact_name": rider, "contact_phone": "0700 123 456", "despite": "Rides on a rig that stands",
        "starts_at": f"{hour - 1:02d}:30", "ends_at": f"{hour + 1:02d}:15",
        "riders-0-name": rider, "riders-0-born_on": "1990-05-17", "riders-0-mass_kg": "74.5",
        "riders-0-stature_cm": "178", "riders-0-level": "intermediate", "riders-0-swims": "on",
        "riders-0-waiver": "on",
    }  # fmt: skip
    today = hands.send(ask, STATION + "book/", typed)
    assert today is not None
    links = today.page.select('main a[href*="/outings/"]')
    link = next(each for each in links if each.get_text(strip=True) == rider)
    address = str(link["href"])
    wear = hands.read(ask, address)
    chosen = {
        name: str(options[1]["value"])
        for name in ("buoyancy_aid", "wetsuit")
        if not wear.select(f"select[name={name}] option[selected]:not([value=''])")
        and (options := wear.select(f"select[name={name}] option"))
    }
    hands.send(ask, address, chosen)
    return address


def tick_a_rig(walker: Walker) -> None:
    """Tick off the first rig whose parts are not with riders; there may be none."""
    page = walker.page
    built = page.get_by_role("button", name=re.compile("is built$"))
    for number in range(built.count()):
        built.nth(number).click()
        refused = page.get_by_role("heading", name="That rig cannot be ticked")
        ticked = page.get_by_text(re.compile(r"built \d\d:\d\d, Maud Trevane")).first
        refused.or_(ticked).first.wait_for()
        if ticked.count():
            return
        page.goto(STATION + "rig-up/")


def close_the_beach(walker: Walker) -> None:
    """Go round, see everybody ashore, and sign the day off."""
    page = walker.page
    page.goto(STATION + "closing/")
    signed = page.locator("details", has_text="Open the day again")
    if signed.count():  # by the journey before, and it no longer holds
        if signed.get_attribute("open") is None:
            signed.locator("summary").click()
        signed.get_by_label("Who opens it again?").fill("Jory Penhale")
        signed.get_by_label("Why?").fill("One more rider came")
        signed.get_by_role("button", name="Open it again").click()
        expect(page.get_by_role("heading", name="Look and tick")).to_be_visible()
    out = page.get_by_role("button", name=re.compile("is ashore: seen$"))
    while left := out.count():
        out.first.click()
        page.goto(STATION + "closing/")
        expect(out).to_have_count(left - 1)
    for tick in page.locator("main input[type=checkbox]").all():
        tick.check()
    page.locator("main [name=note]").fill("The racks are counted again in the morning")
    walker.look("closing")
    page.get_by_role("button", name="Sign the day off").click()
    expect(page.locator("main")).to_contain_text(re.compile("Signed .* by Jory Penhale"))
