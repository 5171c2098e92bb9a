"""Pages that nobody means to see: a rider at home reads them in their own language, whatever has failed."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from bs4 import BeautifulSoup
from django.conf import settings
from django.db import OperationalError, connection
from django.template import loader
from django.test import Client
from django.utils import translation

from tests.rentals.browser import protected
from tests.rentals.home.house import House, place

pytestmark = pytest.mark.usefixtures("own_language")

LANGUAGES = [code for code, _name in settings.LANGUAGES]
FAULT = {
    "en": "That did not work",
    "de": "Das hat nicht geklappt",
    "es": "No ha funcionado",
    "fr": "Cela n’a pas marché",
}
UNREAD = {
    "en": "This cannot be read",
    "de": "Das lässt sich nicht lesen",
    "es": "Esto no se puede leer",
    "fr": "Ceci est illisible",
}
CAUTION = {"en": "on the water", "de": "auf dem Wasser", "es": "en el agua", "fr": "sur l’eau"}


@contextmanager
def database_away(*, but_for: str = "\n") -> Iterator[None]:
    """Refuse every query from here on, but for those of tables that begin so."""

    def refuse(run: Callable[..., Any], sql: str, *more: Any) -> Any:
        if f'FROM "{but_for}' in sql:
            return run(sql, *more)
        raise OperationalError("the server closed the connection")

    with connection.execute_wrapper(refuse):
        yield


@pytest.fixture
def browser() -> Client:
    """A browser that shows what the server answers to its own faults, and checks forms as a real one."""
    return Client(raise_request_exception=False, enforce_csrf_checks=True)


def speaks(answer: Any, code: str, status: int) -> str:
    """What a page says, once it is one of ours, whole, in a language."""
    page = BeautifulSoup(answer.content, "html.parser")
    assert answer.status_code == status
    assert page.html is not None
    assert page.html["lang"] == code
    assert answer.headers["Content-Language"] == code
    protected(answer.headers)
    return page.get_text(" ", strip=True)


@pytest.mark.parametrize("code", LANGUAGES)
class TestInTheRidersLanguage:
    def test_a_fault_of_ours_while_the_database_is_away(
        self, house: House, browser: Client, code: str
    ) -> None:
        with database_away():
            answer = browser.get(place(house, "front"), headers={"Accept-Language": code})

        said = speaks(answer, code, 500)
        assert FAULT[code] in said
        assert CAUTION[code] in said

    def test_more_than_is_read(self, house: House, browser: Client, code: str) -> None:
        """Django reads a thousand fields of a form unless told otherwise."""
        many = {f"rider-{number}-name": "x" for number in range(1001)}
        browser.get(place(house, "front-book"))

        answer = browser.post(place(house, "front-book"), many, headers={"Accept-Language": code})

        assert UNREAD[code] in speaks(answer, code, 400)

    def test_a_host_that_we_are_not(self, browser: Client, code: str) -> None:
        answer = browser.get("/", headers={"Accept-Language": code, "Host": "elsewhere.invalid"})

        assert answer.status_code == 400
        assert UNREAD[code] in answer.content.decode()

    def test_a_form_that_was_open_too_long(self, house: House, browser: Client, code: str) -> None:
        answer = browser.post(place(house, "front-book"), house.typed(), headers={"Accept-Language": code})

        with translation.override(code):
            said = translation.gettext("This page was too old")
        assert (code == "en") == (said == "This page was too old")
        assert said in speaks(answer, code, 403)

    @pytest.mark.parametrize("address", ["/visit/nowhere/", "/nothing/at/all/here/"])
    def test_an_address_that_leads_nowhere(
        self, house: House, browser: Client, code: str, address: str
    ) -> None:
        answer = browser.get(address, headers={"Accept-Language": code})

        assert speaks(answer, code, 404)


class TestBehindALettersLink:
    def test_a_fault_speaks_as_the_letter_did(self, house: House, browser: Client) -> None:
        """The browser is English, the party was written to in French."""
        link = place(house, "visit", house.token(house.book(language="fr")))

        with database_away(but_for="home_"):
            answer = browser.get(link, headers={"Accept-Language": "en"})

        assert FAULT["fr"] in speaks(answer, "fr", 500)


class TestWhenNotEvenAPageCanBeMade:
    @pytest.fixture
    def nothing_renders(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def fail(*_asked: object) -> None:
            raise OSError("the disk is gone")

        monkeypatch.setattr(loader, "get_template", fail)

    @pytest.mark.usefixtures("nothing_renders")
    def test_every_language_is_said_at_once(self, house: House, browser: Client) -> None:
        with database_away():
            answer = browser.get(place(house, "front"))

        page = BeautifulSoup(answer.content, "html.parser")
        assert answer.status_code == 500
        assert {each["lang"] for each in page.select("[lang]")} == set(LANGUAGES)
        assert all(words in page.get_text() for words in FAULT.values())
        assert CAUTION["en"] in page.get_text()


def test_without_a_connection_the_kept_page_speaks_every_language() -> None:
    kept = (settings.BASE_DIR / "rentals" / "static" / "kept.html").read_text()

    assert {each["lang"] for each in BeautifulSoup(kept, "html.parser").select("[lang]")} == set(LANGUAGES)
