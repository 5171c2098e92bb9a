"""Signing in for a token, the brake on guessing, and giving the token back."""

import hashlib
from datetime import datetime, timedelta

import pytest
from django.contrib.auth.hashers import make_password
from django.utils import timezone
from knox.models import AuthToken

from rentals.people.models import Posting, User
from tests.api.client import Answer, Api
from tests.cast import PASSWORD, Cast

WRONG = "zostera-marina"
TRIES = 5


@pytest.fixture
def ida(cast: Cast) -> User:
    """The desk of Tarrow Lagoon, with a password."""
    cast.desk.password = make_password(PASSWORD)
    cast.desk.save()
    return cast.desk


def sign_in(api: Api, user: User, password: str = PASSWORD) -> Answer:
    """Try to sign in."""
    return api.post("/auth/tokens/", {"username": user.username, "password": password})


def test_signing_in_gives_a_token_its_owner_and_its_end(ida: User, api: Api) -> None:
    said = sign_in(api, ida).said

    assert said["name"] == "Ida Desk"
    assert said["token"].startswith("marram_")
    left = datetime.fromisoformat(said["expires_at"]) - timezone.now()
    assert timedelta(days=29) < left <= timedelta(days=30)


def test_a_token_is_kept_as_its_sha512_only(ida: User, api: Api) -> None:
    token = sign_in(api, ida).said["token"]

    kept = AuthToken.objects.get(user=ida)
    assert kept.digest == hashlib.sha512(token.encode()).hexdigest()
    assert token not in (kept.digest, kept.token_key)


def test_a_token_opens_what_its_owner_may_see(ida: User, api: Api) -> None:
    token = sign_in(api, ida).said["token"]
    api.client.defaults["HTTP_AUTHORIZATION"] = f"Token {token}"

    (station,) = api.get("/stations/").said["results"]

    assert (station["slug"], station["roles"]) == ("tarrow-lagoon", ["desk"])


def test_a_wrong_password_is_401_and_the_same_as_an_unknown_name(ida: User, api: Api) -> None:
    wrong, unknown = sign_in(api, ida, WRONG), sign_in(api, User(username="nobody-here"))

    assert wrong.status == unknown.status == 401
    assert wrong.said == unknown.said
    assert wrong.said["type"] == "/api/v1/problems/sign-in-refused/"


def test_after_five_wrong_passwords_the_right_one_is_429_too(ida: User, api: Api) -> None:
    """ASVS 5.0, 6.3.1: guessing is slowed down; an hour, as on the pages."""
    tries = [sign_in(api, ida, WRONG).status for _ in range(TRIES)]

    locked = sign_in(api, ida)

    assert tries == [401] * (TRIES - 1) + [429]
    assert locked.headers["Content-Type"] == "application/problem+json"
    assert (locked.status, locked.headers["Retry-After"]) == (429, "3600")


def test_a_lock_holds_for_the_address_that_guessed_and_locks_nobody_out(ida: User, api: Api) -> None:
    """ASVS 5.0, 6.1.1: no malicious lock-out of an account."""
    for _ in range(TRIES):
        sign_in(api, ida, WRONG)

    api.client.defaults["REMOTE_ADDR"] = "192.0.2.7"

    assert sign_in(api, ida).status == 201


def test_signing_in_forgets_the_wrong_passwords_before(ida: User, api: Api) -> None:
    for _ in range(TRIES - 1):
        sign_in(api, ida, WRONG)
    assert sign_in(api, ida).status == 201

    assert sign_in(api, ida, WRONG).status == 401


@pytest.mark.parametrize("body", [{}, {"username": "ida"}, {"username": "", "password": ""}, {"username": 1}])
def test_a_half_filled_sign_in_is_422(body: dict[str, object], api: Api) -> None:
    assert api.post("/auth/tokens/", body).status == 422


def test_a_token_given_back_opens_nothing_more(cast: Cast, api: Api) -> None:
    desk, other = api.of(cast.desk), api.of(cast.desk)

    assert desk.delete("/auth/tokens/current/").status == 204

    assert (desk.get("/stations/").status, other.get("/stations/").status) == (401, 200)


def test_a_token_that_has_run_out_opens_nothing(cast: Cast, api: Api) -> None:
    desk = api.of(cast.desk)
    AuthToken.objects.update(expiry=timezone.now() - timedelta(seconds=1))

    assert desk.get("/stations/").status == 401


def test_the_token_of_somebody_who_left_opens_nothing(cast: Cast, api: Api) -> None:
    desk = api.of(cast.desk)
    User.objects.update(is_active=False)

    assert desk.get("/stations/").status == 401


def test_a_role_that_has_ended_is_no_role(cast: Cast, api: Api, now: datetime) -> None:
    desk = api.of(cast.desk)
    Posting.objects.filter(user=cast.desk).update(until=now.date())

    assert desk.get(f"/stations/{cast.tarrow.slug}/").status == 404
