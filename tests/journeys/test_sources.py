"""A forecast source that is fetched by the worker, fails, and recovers, as a manager sees it."""

from collections.abc import Iterator
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

import pytest
from playwright.sync_api import Page, expect

from tests.journeys.house import eventually

pytestmark = [pytest.mark.journey, pytest.mark.parametrize("page", ["desk"], indirect=True)]

SAMPLE = Path(__file__).parents[2] / "fixtures" / "samples" / "locationforecast_compact.json"
WIND = "/kettle-bay/wind/"


class Service(ThreadingHTTPServer):
    """A met service on loopback that can be broken and mended."""

    broken = False
    conditional = 0


class Answer(BaseHTTPRequestHandler):
    server: Service

    def do_GET(self) -> None:
        if self.server.broken:
            self.send_error(HTTPStatus.SERVICE_UNAVAILABLE)
        elif self.headers["If-None-Match"] == '"one"':
            self.server.conditional += 1
            self.send_response(HTTPStatus.NOT_MODIFIED)
            self.end_headers()
        else:
            body = SAMPLE.read_bytes()
            self.send_response(HTTPStatus.OK)
            self.send_header("ETag", '"one"')
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the base class says so
        """Keep quiet."""


@pytest.fixture
def service() -> Iterator[Service]:
    with Service(("127.0.0.1", 0), Answer) as running:
        thread = Thread(target=running.serve_forever)
        thread.start()
        yield running
        running.shutdown()
        thread.join()


def test_a_source_is_fetched_and_a_failure_keeps_the_last_good_forecast(page: Page, service: Service) -> None:
    address = f"http://127.0.0.1:{service.server_port}/"

    def add() -> None:
        page.goto(WIND)
        page.get_by_label("Kind").select_option("locationforecast")
        page.get_by_label("Address").fill(address)
        page.get_by_label("Every so many minutes").fill("5")
        page.get_by_role("button", name="Fetch from here").click()
        expect(page.get_by_role("status")).to_contain_text("fetched within a minute")

    def shows(word: str) -> bool:
        page.reload()
        return page.locator(".tag", has_text=word).count() > 0

    page.goto("/sign-in/")
    page.get_by_label("Username").fill("manager")
    page.get_by_label("Password").fill("marram-demo")
    page.locator("main").get_by_role("button", name="Sign in").click()

    add()
    eventually(lambda: shows("fresh"), patience_s=60)

    service.broken = True
    add()
    eventually(lambda: shows("failing"), patience_s=60)
    expect(page.locator("main")).to_contain_text("The last good forecast stays in force")
    expect(page.locator("main")).to_contain_text("Newest forecast: met service JSON")

    service.broken = False
    add()
    eventually(lambda: shows("fresh"), patience_s=60)
    assert service.conditional == 1

    page.get_by_role("button", name="Stop fetching").first.click()
    expect(page.get_by_role("status")).to_contain_text("no longer fetched")
