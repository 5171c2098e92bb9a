"""The demo on its two footings, and a browser to walk it with."""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from tests import servers
from tests.journeys import hands
from tests.journeys.house import OURS, ROOT, House, demo

PASSWORD = "marram-demo"
CHROMIUM = "/usr/bin/chromium"
QUIET = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
MEANT = ("409", "422", "ERR_INTERNET_DISCONNECTED")
"""What the browser says of refusals, and of a connection that a test cut."""

WIDTHS = {"desk": 1280, "tablet": 820, "phone": 390}


@pytest.fixture(scope="session", params=["embedded", "servers"])
def house(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """The demo on SQLite and files alone, and again on PostgreSQL and Redis."""
    data = tmp_path_factory.mktemp(request.param)
    if request.param == "embedded":
        with demo(data) as running:
            yield running
        return
    with (
        servers.postgresql() as database,
        servers.redis() as broker,
        demo(data, MARRAM_DATABASE_URL=database, MARRAM_BROKER_URL=broker) as running,
    ):
        yield running


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's Chromium, without a screen."""
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield running
        running.close()


class People:
    """Those who work in a house: each signs in once, however many pages they open."""

    def __init__(self, browser: Browser, house: House) -> None:
        self.browser, self.house = browser, house
        self.contexts: dict[str, BrowserContext] = {}

    def signed_in(self, username: str) -> BrowserContext:
        """Somebody's browser, in which they are signed in."""
        if username not in self.contexts:
            context = self.contexts[username] = self._context()
            hands.send(context.request, "/sign-in/", {"username": username, "password": PASSWORD})
        return self.contexts[username]

    def anonymous(self) -> BrowserContext:
        """The browser of somebody who is not signed in."""
        if "" not in self.contexts:
            self.contexts[""] = self._context()
        return self.contexts[""]

    def apart(self, username: str) -> BrowserContext:
        """Another browser of somebody, in which they may sign out."""
        context = self.contexts[f"{username} apart"] = self._context()
        hands.send(context.request, "/sign-in/", {"username": username, "password": PASSWORD})
        return context

    def _context(self) -> BrowserContext:
        return self.browser.new_context(base_url=self.house.address)


@pytest.fixture(scope="module")
def people(browser: Browser, house: House) -> Iterator[People]:
    """Who works in the house."""
    here = People(browser, house)
    yield here
    for context in here.contexts.values():
        context.close()


@pytest.fixture(scope="session")
def founder(house: House) -> str:
    """Who runs the service and has no station yet."""
    subprocess.run(
        [sys.executable, "manage.py", "createsuperuser", "--no-input"],
        cwd=ROOT,
        env={
            **os.environ, **OURS, "MARRAM_MODE": "demo", "MARRAM_DATA": str(house.data),
            "DJANGO_SUPERUSER_USERNAME": "founder", "DJANGO_SUPERUSER_EMAIL": "founder@example.org",
            "DJANGO_SUPERUSER_PASSWORD": PASSWORD,
        },
        capture_output=True,  # the second time in a house there is one already
    )  # fmt: skip
    return "founder"


@pytest.fixture(params=list(WIDTHS))
def page(request: pytest.FixtureRequest, browser: Browser, house: House) -> Iterator[Page]:
    """A page of a desk's screen, a tablet's and a phone's; whatever it complains about fails the test."""
    context = browser.new_context(
        viewport={"width": WIDTHS[request.param], "height": 900},
        base_url=house.address,
        has_touch=request.param != "desk",
    )
    page = context.new_page()
    page.set_default_timeout(20_000)
    complaints: list[str] = []
    page.on("console", lambda said: complaints.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on(
        "request",
        lambda asked: (
            complaints.append(asked.url) if not asked.url.startswith((house.address, "data:")) else None
        ),
    )
    yield page
    context.close()
    assert [each for each in complaints if not any(word in each for word in MEANT)] == []


@pytest.fixture(scope="session")
def shots() -> Path | None:
    """Where screenshots go: MARRAM_SHOTS; nowhere when it is not given, which saves a minute."""
    asked = os.environ.get("MARRAM_SHOTS")
    if not asked:
        return None
    folder = Path(asked)
    folder.mkdir(parents=True, exist_ok=True)
    return folder
