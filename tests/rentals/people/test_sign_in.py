"""Signing in: the right password opens, guessing is locked out, and https is insisted on."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.test import Client
from django.urls import reverse

from rentals.people.models import Posting, User
from tests.rentals.browser import protected, signed_in
from tests.rentals.walk import Walk


class TestSignIn:
    @pytest.fixture
    def user(self, cast: Walk) -> User:
        cast.desk.set_password("a long enough password")
        cast.desk.save()
        return cast.desk

    def enter(self, password: str, *, ip: str = "10.0.0.1", username: str = "ida") -> int:
        fields = {"username": username, "password": password}
        return Client(REMOTE_ADDR=ip).post("/sign-in/", fields).status_code

    def test_the_right_password_opens(self, user: User) -> None:
        assert self.enter("a long enough password") == 302

    def test_a_wrong_one_is_told_and_the_name_kept(self, user: User) -> None:
        page = Client(REMOTE_ADDR="10.0.0.1").post("/sign-in/", {"username": "ida", "password": "guess"})

        assert 'value="ida"' in page.content.decode()
        assert "There is a problem" in page.content.decode()

    def test_after_five_wrong_ones_even_the_right_one_waits(self, user: User) -> None:
        """OWASP ASVS 5.0.0, 6.3.1: controls against guessing; five tries and an hour are the house's own."""
        tries = [self.enter("guess") for _try in range(5)]

        assert tries[-1] == 429
        assert self.enter("a long enough password") == 429

    def test_four_wrong_ones_are_forgiven(self, user: User) -> None:
        for _try in range(4):
            self.enter("guess")

        assert self.enter("a long enough password") == 302

    def test_nobody_locks_a_colleague_out_from_elsewhere(self, user: User) -> None:
        for _try in range(6):
            self.enter("guess", ip="10.6.6.6")

        assert self.enter("a long enough password", ip="10.0.0.1") == 302

    def test_its_pages_are_protected(self, user: User) -> None:
        protected(Client().get("/sign-in/").headers)

    def test_it_leads_nowhere_but_here(self, user: User) -> None:
        response = Client(REMOTE_ADDR="10.0.0.1").post(
            "/sign-in/?next=https://elsewhere.invalid/",
            {"username": "ida", "password": "a long enough password", "next": "https://elsewhere.invalid/"},
        )

        assert response["Location"] == "/"

    def test_a_post_that_ended_shows_no_station(self, cast: Walk, user: User) -> None:
        client = signed_in(user)

        Posting.objects.filter(user=user).update(until=cast.now.date())

        assert client.get(reverse("today", args=[cast.tarrow.slug])).status_code == 404


OVER_HTTPS = """
import django
django.setup()
from django.test import Client
answer = Client().get("/sign-in/", secure=True)
print(answer.status_code, answer["Strict-Transport-Security"])
print(Client().get("/sign-in/")["Location"])
from django.conf import settings
print(settings.SESSION_COOKIE_NAME, settings.SESSION_COOKIE_SECURE, settings.CSRF_COOKIE_SECURE)
"""


def test_over_https_browsers_are_told_to_stay_there(tmp_path: Path) -> None:
    """RFC 6797; a year with subdomains is what browsers' preload lists ask for."""
    environment = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "rentals.settings",
        "MARRAM_MODE": "test",
        "MARRAM_DATA": str(tmp_path),
        "MARRAM_HTTPS": "true",
    }
    environment.pop("MARRAM_DATABASE_URL", None)

    done = subprocess.run(
        [sys.executable, "-c", OVER_HTTPS], env=environment, capture_output=True, text=True, check=False
    )

    assert done.stdout.splitlines() == [
        "200 max-age=31536000; includeSubDomains; preload",
        "https://testserver/sign-in/",
        "__Host-session True True",
    ], done.stderr
