"""Posts to an address that a manager typed: signed, to public hosts only, and a sentence for each failure."""

import socket
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import httpx
import pytest
from standardwebhooks import Webhook, WebhookVerificationError

from rentals.lib import web

SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
BODY = '{"test": 2432232314}'


@pytest.fixture
def resolves(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Let every name lead to some addresses."""

    def to(*addresses: str) -> None:
        def answer(host: str, port: int, **_: Any) -> list[Any]:
            return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (address, port)) for address in addresses]

        monkeypatch.setattr(socket, "getaddrinfo", answer)

    return to


def post(answer: Callable[[httpx.Request], httpx.Response], **values: Any) -> None:
    usual: dict[str, Any] = {
        "secret": SECRET, "event": "overdue:1:alert", "body": BODY, "user_agent": "Marram",
        "private": False, "now": datetime.now(UTC),
    }  # fmt: skip
    client = httpx.Client(transport=httpx.MockTransport(answer))
    web.post_signed("https://alarm.example/late?x=1", client=client, **{**usual, **values})


class TestSigning:
    def test_it_signs_as_the_specification_s_own_example(self) -> None:
        # Standard Webhooks, the reference libraries' shared test vector, from memory.
        signed = Webhook(SECRET).sign(
            "msg_p5jXN8AQM9LWM0D4loKWxJek", datetime.fromtimestamp(1614265330, UTC), BODY
        )

        assert signed == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="

    def test_the_receiver_can_check_what_arrives(self, resolves: Callable[..., None]) -> None:
        resolves("93.184.216.34")
        came: list[httpx.Request] = []

        post(lambda request: came.append(request) or httpx.Response(204))  # type: ignore[func-returns-value]

        (request,) = came
        assert request.headers["webhook-id"] == "overdue:1:alert"
        assert Webhook(SECRET).verify(request.content, dict(request.headers)) == {"test": 2432232314}
        with pytest.raises(WebhookVerificationError):
            Webhook(SECRET).verify(b"{}", dict(request.headers))

    def test_the_address_that_was_looked_up_is_called_by_the_host_s_name(
        self, resolves: Callable[..., None]
    ) -> None:
        resolves("93.184.216.34")
        came: list[httpx.Request] = []

        post(lambda request: came.append(request) or httpx.Response(200))  # type: ignore[func-returns-value]

        (request,) = came
        assert request.url.host == "93.184.216.34"
        assert request.headers["host"] == "alarm.example"
        assert request.extensions["sni_hostname"] == "alarm.example"


PRIVATE = ["127.0.0.1", "10.0.0.8", "192.168.1.1", "169.254.169.254", "::1", "fd00::1", "0.0.0.0"]  # noqa: S104


class TestRefusing:
    @pytest.mark.parametrize("address", PRIVATE)
    def test_a_host_in_a_private_network(self, resolves: Callable[..., None], address: str) -> None:
        resolves("93.184.216.34", address)

        with pytest.raises(web.Unreachable, match="private network"):
            post(lambda request: httpx.Response(204))

    def test_a_redirect_is_not_followed(self, resolves: Callable[..., None]) -> None:
        resolves("93.184.216.34")

        with pytest.raises(web.Unreachable, match="HTTP 302"):
            post(lambda request: httpx.Response(302, headers={"Location": "http://127.0.0.1/"}))

    @pytest.mark.parametrize("status", [400, 404, 410, 500, 503])
    def test_an_answer_that_takes_nothing(self, resolves: Callable[..., None], status: int) -> None:
        resolves("93.184.216.34")

        with pytest.raises(web.Unreachable, match=f"HTTP {status}"):
            post(lambda request: httpx.Response(status))

    @pytest.mark.parametrize(
        ("problem", "words"),
        [
            (httpx.ConnectTimeout("slow"), "did not answer within 10 s"),
            (httpx.ConnectError("refused"), "cannot be reached"),
        ],
    )
    def test_a_network_that_fails(
        self, resolves: Callable[..., None], problem: Exception, words: str
    ) -> None:
        resolves("93.184.216.34")

        def fail(_request: httpx.Request) -> httpx.Response:
            raise problem

        with pytest.raises(web.Unreachable, match=words):
            post(fail)

    def test_a_name_that_leads_nowhere(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def fail(*_: object, **__: object) -> None:
            raise socket.gaierror("no such name")

        monkeypatch.setattr(socket, "getaddrinfo", fail)

        with pytest.raises(web.Unreachable, match="leads to no host"):
            post(lambda request: httpx.Response(204))
