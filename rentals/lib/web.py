"""The web as reached from inside: public addresses only, and posts that are signed."""

import socket
from collections.abc import Mapping
from datetime import UTC, datetime
from http import HTTPStatus
from ipaddress import ip_address
from typing import TYPE_CHECKING

from standardwebhooks import Webhook
from standardwebhooks.webhooks import WebhookVerificationError

if TYPE_CHECKING:
    # Slow to load; pages check what is posted to them, and post nothing themselves.
    import httpx

TIMEOUT_S = 10.0


class Unreachable(Exception):
    """A sentence on why a post was not taken."""


class NotPublic(Unreachable):
    """A host that any resolver answer places outside the public network."""


class NotSigned(Exception):
    """A post that does not carry our signature, or one of another time."""


def check_signed(body: bytes, headers: Mapping[str, str], *, secret: str) -> None:
    """Let a post through that is signed by the Standard Webhooks specification, within five minutes.

    Raises:
        NotSigned: no signature, one of another secret, body or time.
    """
    try:
        Webhook(secret).verify(body, dict(headers), json_parse=False)
    except (WebhookVerificationError, ValueError) as problem:
        raise NotSigned("The signature is missing, old, or of another secret.") from problem


def public_address(url: "httpx.URL") -> str:
    """Return an address of a host of the public network.

    Raises:
        Unreachable: there is no such host.
        NotPublic: it has no address, or any resolver answer lies in a private network.
    """
    try:
        answers = socket.getaddrinfo(url.host, url.port or 443, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as problem:
        raise Unreachable("The address leads to no host; check it.") from problem
    addresses = [str(answer[4][0]) for answer in answers]
    if not addresses or not all(ip_address(address).is_global for address in addresses):
        raise NotPublic("The address lies in a private network; only public ones are called.")
    return addresses[0]


def post_signed(
    url: str,
    *,
    secret: str,
    event: str,
    body: str,
    user_agent: str,
    private: bool,
    now: datetime,
    client: "httpx.Client | None" = None,
) -> None:
    """Post a body signed by the Standard Webhooks specification; an answer in the two hundreds takes it.

    The host is resolved once and that address is called, so that a name cannot lead elsewhere between the
    look and the call; redirects are not followed.

    Args:
        url: where to.
        secret: the receiver's, `whsec_` and base64.
        event: the message's id, the same at each try.
        body: JSON.
        user_agent: what we call ourselves.
        private: whether private networks may be called.
        now: the wall's own moment, which the signature carries and the receiver checks.
        client: another way out, for tests.

    Raises:
        Unreachable: it was not taken; the message says why.
    """
    import httpx

    stamp = now.astimezone(UTC)
    headers = {
        "content-type": "application/json",
        "user-agent": user_agent,
        "webhook-id": event,
        "webhook-timestamp": str(int(stamp.timestamp())),
        "webhook-signature": Webhook(secret).sign(event, stamp, body),
    }
    try:
        target = httpx.URL(url)
        extensions: dict[str, object] = {}
        if not private:
            headers["host"] = target.netloc.decode("ascii")
            extensions["sni_hostname"] = target.host
            target = target.copy_with(host=public_address(target))
        with client or httpx.Client(trust_env=False) as opened:
            answer = opened.post(
                target, content=body, headers=headers, timeout=TIMEOUT_S, extensions=extensions
            )
    except httpx.TimeoutException as problem:
        raise Unreachable(f"The address did not answer within {TIMEOUT_S:g} s.") from problem
    except (httpx.HTTPError, httpx.InvalidURL, UnicodeError) as problem:
        raise Unreachable("The address cannot be reached; check it and this machine's network.") from problem
    if not HTTPStatus(200) <= answer.status_code < HTTPStatus(300):
        raise Unreachable(f"The address answered with HTTP {answer.status_code}.")
