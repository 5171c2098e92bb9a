"""What the script does, in a browser: live parts that say how old they are, a desk by keyboard alone."""

import re
import time

import pytest
from playwright.sync_api import Page, Route, expect

from tests.journeys import hands
from tests.journeys.conftest import People
from tests.journeys.house import eventually

pytestmark = [pytest.mark.journey, pytest.mark.parametrize("house", ["embedded"], indirect=True)]

TODAY = "/tarrow-lagoon/"
RENEWED_WITHIN_S = 5
BY_KEYBOARD_S = 10
"""The product's promise for issuing to a party."""
KEPT = """() => new Promise((done) => {
    const open = indexedDB.open("marram", 1);
    open.onsuccess = () => {
        const asked = open.result.transaction("waiting").objectStore("waiting").getAll();
        asked.onsuccess = () => done(asked.result);
    };
})"""
"""What waits on the device to be sent."""


def sign_in(page: Page, username: str) -> None:
    page.goto("/sign-in/")
    page.get_by_label("Username").fill(username)
    page.get_by_label("Password").fill("marram-demo")
    page.locator("main").get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()


def seconds(clock: str) -> int:
    """Seconds since midnight."""
    hours, minutes, rest = map(int, clock.split(":"))
    return 3600 * hours + 60 * minutes + rest


@pytest.mark.parametrize("page", ["desk"], indirect=True)
class TestLivePart:
    @pytest.mark.parametrize("path", [TODAY, TODAY + "afloat/"])
    def test_it_renews_itself_within_five_seconds_and_says_when(self, page: Page, path: str) -> None:
        sign_in(page, "desk")
        page.goto(path)
        at = page.locator("[data-at]")
        told = [at.inner_text()]
        for _renewal in range(2):
            expect(at).not_to_have_text(told[-1], timeout=20_000)
            told.append(at.inner_text())

        # Both are told in whole seconds, by the service's clock.
        assert 0 < seconds(told[2]) - seconds(told[1]) <= RENEWED_WITHIN_S + 1
        expect(page.locator(".live-in > *").first).to_be_visible()

    def test_it_says_loudly_when_it_could_not_and_mends(self, page: Page) -> None:
        sign_in(page, "desk")
        page.goto(TODAY)
        word = page.locator("[data-stale]")
        expect(word).to_be_hidden()

        page.context.set_offline(True)
        expect(word).to_contain_text("Not renewed since", timeout=10_000)
        expect(word).to_contain_text("no connection")
        page.context.set_offline(False)

        expect(word).to_be_hidden(timeout=10_000)

    def test_when_signed_out_it_says_so_and_keeps_what_it_showed(self, page: Page) -> None:
        sign_in(page, "desk")
        page.goto(TODAY)
        rows = page.locator(".live tbody tr").count()

        page.context.clear_cookies()

        expect(page.locator("[data-stale]")).to_contain_text("sign in again", timeout=10_000)
        assert page.locator(".live tbody tr").count() == rows


@pytest.mark.parametrize("page", ["phone"], indirect=True)
def test_a_second_tap_on_a_form_sends_nothing(page: Page) -> None:
    sign_in(page, "desk")
    page.goto(TODAY)
    sent: list[str] = []

    def slowly(route: Route) -> None:
        sent.append(route.request.url)
        route.fulfill(status=204)

    page.route("**/ashore/", slowly)
    button = page.get_by_role("button", name="Ashore", exact=True).first
    button.dblclick(no_wait_after=True)
    page.wait_for_timeout(300)

    assert len(sent) == 1


@pytest.mark.parametrize("page", ["desk"], indirect=True)
def test_a_party_gets_its_kit_by_keyboard_alone_in_ten_seconds(page: Page) -> None:
    sign_in(page, "desk")
    page.goto(TODAY)
    row = page.get_by_role("row").filter(has=page.get_by_role("link", name="Issue", exact=True)).first
    name = row.get_by_role("rowheader").get_by_role("link").inner_text()
    page.goto(TODAY)
    began = time.monotonic()

    page.keyboard.type(name)
    expect(page.locator("#found")).to_contain_text(re.compile("found"))
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=re.compile("Issue to"))).to_be_visible()
    page.keyboard.press("Enter")
    expect(page.get_by_role("status").first).to_contain_text("Issued to")

    assert time.monotonic() - began < BY_KEYBOARD_S
    expect(page.get_by_role("status").first).to_contain_text(name)


@pytest.mark.parametrize("page", ["phone"], indirect=True)
class TestWithoutConnection:
    """A check that cannot be sent is kept on the device, shown as waiting, and counts once."""

    def take_back_offline(self, page: Page) -> str:
        """Go through a return check while the connection is lost; return the outing's address."""
        sign_in(page, "instructor")
        page.goto(TODAY)
        page.wait_for_function("navigator.serviceWorker.controller !== null")
        row = page.get_by_role("row").filter(has=page.get_by_role("button", name="Ashore", exact=True)).last
        outing = str(row.get_by_role("rowheader").get_by_role("link").get_attribute("href"))
        page.goto(outing + "return-check/")
        page.wait_for_function("caches.match('/static/kept.html').then((found) => found !== undefined)")
        page.context.set_offline(True)
        page.get_by_label("Everything is back").check()
        page.get_by_role("button", name="Save the return check").click()
        expect(page.get_by_role("heading", name="No connection")).to_be_visible()
        return outing

    def test_it_is_sent_once_when_the_connection_is_back(self, page: Page) -> None:
        outing = self.take_back_offline(page)
        waiting = page.locator("#waiting")
        expect(waiting).to_contain_text("waiting to be sent")
        (row,) = page.evaluate(KEPT)

        page.context.set_offline(False)
        expect(waiting).to_be_hidden(timeout=20_000)

        page.goto(outing)
        expect(page.locator("main")).to_contain_text("closed")
        # The reply may be lost after the check was taken: then it is sent again, and counts once.
        page.evaluate(
            """(row) => new Promise((done) => {
                const open = indexedDB.open("marram", 1);
                open.onsuccess = () => {
                    const run = open.result.transaction("waiting", "readwrite");
                    run.objectStore("waiting").put(row);
                    run.oncomplete = done;
                };
            })""",
            row,
        )
        page.reload()
        eventually(lambda: page.evaluate(KEPT) == [])
        expect(waiting).to_be_hidden()
        expect(page.locator("main li", has_text="Return check")).to_have_count(1)

    def test_it_names_nobody_and_waits_for_whoever_ticked_it(self, page: Page) -> None:
        self.take_back_offline(page)
        (row,) = page.evaluate(KEPT)
        kept = page.evaluate(
            "caches.open('marram').then((all) => all.keys()).then((each) => each.map((one) => one.url))"
        )

        assert {name.partition("_")[0] for name, _value in row["fields"]} <= {
            "once", "all", "felt", "note", "back", "rinsed", "fault", "stays", "kit", "list",
        }  # fmt: skip
        assert {url.rpartition("/")[2] for url in kept} == {"kept.html", "marram.css", "marram.js"}
        assert {"waited_s", "ticked_at"} & {name for name, _value in row["fields"]} == set()
        page.context.clear_cookies()
        page.context.set_offline(False)
        sign_in(page, "manager")
        expect(page.locator("#waiting")).to_contain_text("sign in as before")


class TestAnUnopenedCheck:
    """What was not opened before the connection was lost can be done from the sheet kept ready."""

    SHEET = """(part) => caches.match('/checks-ready/').then((found) => found && found.text())
        .then((text) => text !== undefined && text.includes(part))"""
    PAGE = "() => caches.match('/static/kept.html').then((found) => found !== undefined)"

    def on_the_beach(self, page: Page) -> None:
        """Be an instructor whose tablet has the checks that are due."""
        sign_in(page, "instructor")
        page.goto(TODAY + "beach/")
        page.get_by_label("Safety boat is manned").check()
        for label, value in {
            "Instructors on the beach": "2", "Wind, mean in": "12", "Gusts in": "15",
            "From, in degrees": "330", "Water in": "16.5",
        }.items():  # fmt: skip
            page.get_by_label(label).fill(value)
        page.get_by_role("button", name="Log the beach").click()
        expect(page.get_by_role("status").first).to_contain_text("Logged")

    def lose_the_connection(self, page: Page, part: str = "<details") -> None:
        """Look at the Afloat page until the sheet has a part in it; then the connection goes."""
        page.goto(TODAY + "afloat/")
        page.wait_for_function("() => navigator.serviceWorker.controller !== null")
        eventually(lambda: page.evaluate(self.SHEET, part) and page.evaluate(self.PAGE), patience_s=60)
        page.context.set_offline(True)

    def waiting_for(self, page: Page, step: str) -> list[str]:
        """Addresses of outings whose next step is so named on Today."""
        page.goto(TODAY)
        rows = page.get_by_role("row").filter(has=page.get_by_role("link", name=step, exact=True))
        links = rows.get_by_role("rowheader").get_by_role("link")
        return list(links.evaluate_all("(all) => all.map((each) => each.getAttribute('href'))"))

    def issued(self, page: Page) -> str:
        """Return the address of an outing whose kit is with the rider; issue it where nobody has yet."""
        for outing in self.waiting_for(page, "Issue and check"):
            page.goto(f"{outing}launch-check/")
            if page.get_by_role("button", name="Passed: let").count():
                return outing
        outing = self.waiting_for(page, "Issue")[0]
        page.goto(outing)
        page.get_by_role("button", name="Issue the kit").click()
        expect(page.get_by_role("heading", name="Launch check")).to_be_visible()
        return outing

    @pytest.mark.parametrize("page", ["phone"], indirect=True)
    def test_a_launch_check_is_kept_sent_once_and_says_when_it_was_ticked(self, page: Page) -> None:
        self.on_the_beach(page)
        outing = self.issued(page)
        self.lose_the_connection(page, f"{outing}launch-check/")

        page.goto(outing + "launch-check/")
        sheet = page.locator("details[open]")
        expect(sheet).to_have_count(1)
        expect(sheet).to_be_in_viewport()
        for tick in sheet.get_by_role("checkbox").all():
            tick.check()
        sheet.get_by_role("button", name="Passed: afloat").click()
        expect(page.locator("#waiting")).to_contain_text("waiting to be sent")
        page.get_by_role("link", name="Checks kept ready").click()
        expect(page.locator("#waiting")).to_contain_text("waiting to be sent")
        expect(page.locator(f"[data-url='{outing}launch-check/']")).to_be_hidden()

        page.context.set_offline(False)
        expect(page.locator("#waiting")).to_be_hidden(timeout=20_000)
        page.goto(outing)
        expect(page.locator("main .tag").first).to_have_text("afloat")
        logged = page.locator("main li", has_text="Launch check passed")
        expect(logged).to_have_count(1)
        expect(logged).to_contain_text(re.compile(r"ticked \d\d:\d\d on a device without a connection"))

        # What came back is on the sheet too, and the next sheet has no launch check of that rider.
        self.lose_the_connection(page, f"{outing}return-check/")
        page.goto(outing + "return-check/")
        sheet = page.locator("details[open]")
        sheet.get_by_label("Everything is back").check()
        sheet.get_by_role("button", name="Save the return check").click()
        expect(page.locator("#waiting")).to_contain_text("Return check of outing")
        page.context.set_offline(False)
        expect(page.locator("#waiting")).to_be_hidden(timeout=20_000)
        page.goto(outing)
        expect(page.locator("main .tag").first).to_have_text("closed")

    @pytest.mark.parametrize("page", ["phone"], indirect=True)
    def test_one_that_is_refused_when_it_comes_is_told_to_everybody_until_it_is_settled(
        self, page: Page, people: People
    ) -> None:
        """Ticked without a connection; meanwhile the desk calls everybody ashore."""
        self.on_the_beach(page)
        outing = self.issued(page)
        page.goto(outing)
        rider = page.get_by_role("heading", level=1).inner_text()
        self.lose_the_connection(page, f"{outing}launch-check/")
        page.goto(outing + "launch-check/")
        sheet = page.locator("details[open]")
        for tick in sheet.get_by_role("checkbox").all():
            tick.check()
        sheet.get_by_role("button", name="Passed: afloat").click()
        expect(page.locator("#waiting")).to_contain_text("waiting to be sent")

        desk = people.signed_in("desk")
        hands.send(desk.request, TODAY + "afloat/", to="/recall/")
        page.context.set_offline(False)
        expect(page.locator("#waiting")).to_contain_text("did not take it", timeout=20_000)

        at_the_desk = desk.new_page()
        at_the_desk.goto(TODAY + "riders/")
        bar = at_the_desk.locator(".watch-bar")
        expect(bar).to_contain_text(f"{rider} may be afloat: a check ticked")
        at_the_desk.close()
        page.goto(TODAY + "afloat/")
        note = page.locator("#may-be-out").get_by_role("listitem").filter(has_text=rider)
        expect(note).to_contain_text("Everybody is called ashore")
        page.get_by_role("button", name="Lift the recall").click()
        page.get_by_role("button", name=f"Looked, is not out: {rider}").click()
        expect(note).to_have_count(0)
        expect(page.locator(".watch-bar")).not_to_contain_text(f"{rider} may be afloat")

    @pytest.mark.parametrize("page", ["phone"], indirect=True)
    def test_it_names_nobody_and_is_dropped_when_the_person_signs_out(self, page: Page) -> None:
        sign_in(page, "instructor")
        page.goto(TODAY)
        names = page.get_by_role("row").get_by_role("rowheader").get_by_role("link").all_inner_texts()
        self.lose_the_connection(page)
        page.goto("/checks-ready/")
        said = page.content()

        assert page.locator("details").count() > 0
        assert [name for name in names if name in said] == []
        assert re.search(r"07\d\d \d{3}", said) is None
        page.context.set_offline(False)
        page.goto(TODAY)
        page.get_by_role("button", name="Sign out").click()
        expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
        eventually(lambda: not page.evaluate(self.SHEET, ""))


@pytest.mark.parametrize("page", ["phone"], indirect=True)
def test_whoever_holds_the_tablet_to_sign_cannot_go_back_into_the_station(page: Page) -> None:
    sign_in(page, "desk")
    page.goto(TODAY + "riders/")
    page.get_by_role("row").get_by_role("link").first.click()
    rider = page.get_by_role("heading", level=1).inner_text()
    page.get_by_role("link", name="Waiver").click()
    page.get_by_role("button", name="Hand over").click()
    expect(page.get_by_role("button", name="Sign")).to_be_visible()
    page.get_by_role("link", name="Deutsch").click()
    expect(page.get_by_role("button", name="Unterschreiben")).to_be_visible()
    small = page.evaluate(
        """() => [...document.querySelectorAll("a, button, .tick, input[type=text]")]
            .filter((each) => each.getBoundingClientRect().height < 44).map((each) => each.outerHTML)"""
    )
    assert small == []

    for _step in range(5):
        page.go_back()
        expect(page.locator("nav[aria-label=Pages]")).to_have_count(0)
        if "/sign/" not in page.url:
            assert rider not in page.inner_text("body")
