"""Fetching a source over HTTP: politely, within limits, and with a plain sentence for every failure."""

import re
import time
from contextlib import nullcontext
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from http import HTTPStatus
from typing import Final

import httpx

from rentals.lib.web import NotPublic, Unreachable, public_address
from rentals.weather.fetched import LONGEST_OBEYED, Fetched

# Policy: what one fetch may cost us, and how hard a source that fails is asked again.
MOST_BYTES: Final = 5 * 1024 * 1024
MOST_REDIRECTS: Final = 3
MOST_TIMEOUTS: Final = 3
"""A body may take this many times the time-out of one read: a source that drips is a source that fails."""

_LONGEST_ETAG: Final = 200
_LONGEST_DATE: Final = 60
"""What `weather.Source` has room for; the longest HTTP date has 33 characters."""
_DELTA_SECONDS: Final = re.compile(r"\d{1,9}", re.ASCII)
_MAX_AGE: Final = re.compile(r"(?:^|[\s,])max-age=\"?(\d{1,9})", re.ASCII | re.IGNORECASE)


class _Failed(Exception):
    """A sentence on why a fetch gave nothing, and how long the source asks to be left alone."""

    def __init__(self, sentence: str, retry_after_s: float | None = None) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.retry_after_s = retry_after_s


def fetch(
    url: str,
    *,
    etag: str | None,
    last_modified: str | None,
    user_agent: str,
    timeout_s: float = 10,
    client: httpx.Client | None = None,
    private: bool = False,
    now: datetime,
) -> Fetched:
    """Ask a source for what is new since the last time. Never raises for anything the network does.

    `now` (aware) is what ages and dates of the answer are counted from, so a source with a wrong clock does
    no harm. Addresses inside private networks are refused at every hop unless `private`. Given up: bodies
    over 5 MB or slower than three times `timeout_s`, more than 3 redirects.
    """
    headers = {"User-Agent": user_agent, "Accept-Encoding": "gzip"}
    if etag:
        headers["If-None-Match"] = etag
    if last_modified:
        headers["If-Modified-Since"] = last_modified
    try:
        with nullcontext(client) if client else httpx.Client() as opened:
            request = opened.build_request("GET", url, headers=headers, timeout=timeout_s)
            until = time.monotonic() + MOST_TIMEOUTS * timeout_s
            return _asked(opened, request, etag, last_modified, now, until, private)
    except _Failed as failure:
        error, retry_after_s = failure.sentence, failure.retry_after_s
    except httpx.TimeoutException:
        error, retry_after_s = f"The source did not answer within {timeout_s:g} s.", None
    except httpx.RemoteProtocolError:
        error, retry_after_s = (
            "The source broke off in the middle of its answer, or did not speak HTTP.",
            None,
        )
    except httpx.DecodingError:
        error, retry_after_s = "The source sent an answer that can't be unpacked.", None
    except (httpx.UnsupportedProtocol, httpx.InvalidURL):
        error, retry_after_s = "The address of the source is not a web address (http or https).", None
    except (httpx.HTTPError, UnicodeError):
        error, retry_after_s = (
            "The source can't be reached; check its address and this machine's network.",
            None,
        )
    return Fetched(
        status="failed", etag=etag, last_modified=last_modified, error=error, retry_after_s=retry_after_s
    )


def _asked(
    client: httpx.Client,
    request: httpx.Request,
    etag: str | None,
    last_modified: str | None,
    now: datetime,
    deadline_s: float,
    private: bool,
) -> Fetched:
    for _ in range(MOST_REDIRECTS + 1):
        _check_scheme(request.url)
        if not private:
            _check_public(request.url)
        response = client.send(request, stream=True, follow_redirects=False)
        try:
            if response.next_request is None:
                return _answered(response, etag, last_modified, now, deadline_s)
            if request.url.scheme == "https" and response.next_request.url.scheme != "https":
                raise _Failed("The source redirects from https to http; ask for its new address.")
            request = response.next_request
        finally:
            response.close()
    raise _Failed(f"The source redirects more than {MOST_REDIRECTS} times; ask for its new address.")


def _check_scheme(url: httpx.URL) -> None:
    if url.scheme not in ("http", "https"):
        raise httpx.UnsupportedProtocol("only http and https are fetched")


def _check_public(url: httpx.URL) -> None:
    """Refuse hosts that any resolver answer places outside the public network."""
    try:
        public_address(url)
    except NotPublic as problem:
        sentence = "The source's address lies in a private network; only public ones are fetched."
        raise _Failed(sentence) from problem
    except Unreachable as problem:
        raise httpx.ConnectError(str(problem)) from problem


def _answered(
    response: httpx.Response, etag: str | None, last_modified: str | None, now: datetime, deadline_s: float
) -> Fetched:
    status = response.status_code
    new_etag = _kept(response.headers.get("ETag"), _LONGEST_ETAG)
    new_last_modified = _kept(response.headers.get("Last-Modified"), _LONGEST_DATE)
    expires_at = _expires_at(response.headers, now)
    if status == HTTPStatus.NOT_MODIFIED and (etag or last_modified):
        return Fetched(
            status="unchanged",
            etag=new_etag or etag,
            last_modified=new_last_modified or last_modified,
            expires_at=expires_at,
        )
    if status not in (HTTPStatus.OK, HTTPStatus.NON_AUTHORITATIVE_INFORMATION):
        raise _Failed(_refusal(status), _retry_after_s(response.headers, now))
    body = _body(response, deadline_s)
    if not body.strip():
        raise _Failed("The source sent an empty answer.")
    warning = None
    if status == HTTPStatus.NON_AUTHORITATIVE_INFORMATION:
        warning = "The source answers with 203: this address is on its way out; look for its successor."
    return Fetched(
        status="new",
        body=body,
        etag=new_etag,
        last_modified=new_last_modified,
        expires_at=expires_at,
        warning=warning,
    )


def _body(response: httpx.Response, deadline_s: float) -> bytes:
    too_large = _Failed(f"The source sends more than {MOST_BYTES // 1024**2} MB, which is no forecast.")
    announced = response.headers.get("Content-Length", "")
    if _DELTA_SECONDS.fullmatch(announced) and int(announced) > MOST_BYTES:
        raise too_large
    body = bytearray()
    for chunk in response.iter_bytes():
        body += chunk
        if len(body) > MOST_BYTES:
            raise too_large
        if time.monotonic() > deadline_s:
            raise _Failed("The source sends its answer too slowly.")
    return bytes(body)


_REFUSALS: Final = {
    HTTPStatus.NOT_MODIFIED: "The source says that nothing is new, though nothing was kept from it",
    HTTPStatus.UNAUTHORIZED: "The source wants a sign-in",
    HTTPStatus.FORBIDDEN: "The source refuses us; check its terms and the contact in our User-Agent",
    HTTPStatus.NOT_FOUND: "There is nothing at this address; check it",
    HTTPStatus.GONE: "There is nothing at this address any more; look for its successor",
    HTTPStatus.TOO_MANY_REQUESTS: "The source says that we ask too often",
}


def _refusal(status: int) -> str:
    """A plain sentence for an answer without a body for us."""
    sentence = next((text for known, text in _REFUSALS.items() if known == status), None)
    if sentence is None:
        if status >= HTTPStatus.INTERNAL_SERVER_ERROR:
            sentence = "The source has a fault of its own"
        elif status >= HTTPStatus.BAD_REQUEST:
            sentence = "The source does not understand the request; check its address"
        else:
            sentence = "The source answered without a forecast"
    return f"{sentence} (HTTP {status})."


def _kept(validator: str | None, longest: int) -> str | None:
    """A validator that can be kept and sent back as it is."""
    if validator and validator.isascii() and validator.isprintable() and len(validator) <= longest:
        return validator
    return None


def _expires_at(headers: httpx.Headers, now: datetime) -> datetime | None:
    """When the answer goes stale on our clock: max-age less Age, else Expires less Date (RFC 9111, 4.2.1)."""
    max_age = _MAX_AGE.search(headers.get("Cache-Control", ""))
    if max_age:
        age = headers.get("Age", "")
        spent = int(age) if _DELTA_SECONDS.fullmatch(age) else 0
        return now + _believed(timedelta(seconds=int(max_age[1]) - spent))
    expires = _http_date(headers.get("Expires"))
    if expires is None:
        return None
    sent = _http_date(headers.get("Date")) or now
    return now + _believed(expires - sent)


def _believed(wait: timedelta) -> timedelta:
    return min(max(wait, timedelta(0)), LONGEST_OBEYED)


def _retry_after_s(headers: httpx.Headers, now: datetime) -> float | None:
    """How long the source asks to be left alone: seconds or a date (RFC 9110, 10.2.3)."""
    stated = headers.get("Retry-After", "")
    if _DELTA_SECONDS.fullmatch(stated):
        return float(stated)
    moment = _http_date(stated)
    return None if moment is None else max(0.0, (moment - now).total_seconds())


def _http_date(text: str | None) -> datetime | None:
    try:
        moment = parsedate_to_datetime(text or "")
    except (ValueError, OverflowError):
        return None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)
