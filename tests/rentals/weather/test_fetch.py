import gzip
import threading
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Final

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rentals.weather.fetch import MOST_BYTES, fetch
from rentals.weather.fetched import Fetched, next_try_at

NOW = datetime(2026, 7, 1, 12, 0, tzinfo=UTC)
AGENT = "marram-test/1 desk@tarrow.example"
ETAG = '"run-17"'
LAST_MODIFIED = "Wed, 01 Jul 2026 11:41:00 GMT"
PATIENCE_S: Final = 5.0
"""Long enough for a loaded machine; the tests of time-outs pass their own."""

Answer = Callable[["Handler"], object]


class Handler(BaseHTTPRequestHandler):
    """Answers as the test says; keeps what was asked."""

    server: "Source"

    def do_GET(self) -> None:
        self.server.asked.append(self)
        self.server.answers[self.path](self)

    def log_message(self, *args: object) -> None:
        """Keep the run quiet."""

    def send(self, status: int, body: bytes = b"", **headers: str) -> None:
        """A whole answer; header names with _ for -."""
        headers.setdefault("Content_Length", str(len(body)))
        self.send_response_only(status)
        for name, value in headers.items():
            self.send_header(name.replace("_", "-"), value)
        self.end_headers()
        self.wfile.write(body)


class Source(ThreadingHTTPServer):
    """A real server on loopback. Closing waits for its threads, so nothing outlives a test."""

    daemon_threads = False

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.answers: dict[str, Answer] = {}
        self.asked: list[Handler] = []
        self.closing = threading.Event()

    def handle_error(self, request: object, client_address: object) -> None:
        """A client that hangs up early is what some tests are about."""

    def url(self, path: str = "/forecast") -> str:
        return f"http://127.0.0.1:{self.server_port}{path}"

    def answer(self, answer: Answer, path: str = "/forecast") -> None:
        self.answers[path] = answer


@pytest.fixture
def source() -> Iterator[Source]:
    with Source() as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        yield server
        server.closing.set()
        server.shutdown()
        thread.join()


def get(
    url: str, *, etag: str | None = None, last_modified: str | None = None, timeout_s: float = PATIENCE_S
) -> Fetched:
    return fetch(
        url,
        etag=etag,
        last_modified=last_modified,
        user_agent=AGENT,
        timeout_s=timeout_s,
        private=True,
        now=NOW,
    )


class TestANewAnswer:
    def test_it_brings_the_body_and_what_to_ask_with_next_time(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(200, b"{}", ETag=ETAG, Last_Modified=LAST_MODIFIED))

        assert get(source.url()) == Fetched(status="new", body=b"{}", etag=ETAG, last_modified=LAST_MODIFIED)

    def test_it_says_who_asks_and_nothing_of_earlier_answers_the_first_time(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(200, b"{}"))

        get(source.url())

        (asked,) = source.asked
        assert asked.headers["User-Agent"] == AGENT
        assert asked.headers["If-None-Match"] is None
        assert asked.headers["If-Modified-Since"] is None

    def test_it_unpacks_gzip(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(200, gzip.compress(b'{"a": 1}'), Content_Encoding="gzip"))

        assert get(source.url()).body == b'{"a": 1}'

    def test_it_uses_the_client_it_is_given_and_leaves_it_open(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(200, b"{}"))

        with httpx.Client() as client:
            for _ in range(2):
                fetched = fetch(
                    source.url(),
                    etag=None,
                    last_modified=None,
                    user_agent=AGENT,
                    client=client,
                    private=True,
                    now=NOW,
                )
                assert fetched.status == "new"

    def test_it_gives_the_connection_back_though_it_left_the_body_unread(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(500, b"x" * 10_000))

        with httpx.Client(limits=httpx.Limits(max_connections=1)) as client:
            for _ in range(2):
                fetched = fetch(
                    source.url(),
                    etag=None,
                    last_modified=None,
                    user_agent=AGENT,
                    timeout_s=1,
                    client=client,
                    private=True,
                    now=NOW,
                )
                assert fetched.error == "The source has a fault of its own (HTTP 500)."

    def test_it_warns_of_an_address_on_its_way_out(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(203, b"{}"))

        fetched = get(source.url())

        assert (fetched.status, fetched.body, fetched.error) == ("new", b"{}", None)
        assert fetched.warning is not None
        assert "look for its successor" in fetched.warning

    @pytest.mark.parametrize("bad", ["\xe9tag", "x" * 201, "a\tb"])
    def test_it_does_not_keep_a_validator_that_could_not_be_sent_back(self, source: Source, bad: str) -> None:
        source.answer(lambda ask: ask.send(200, b"{}", ETag=bad))

        assert get(source.url()).etag is None

    def test_it_does_not_keep_a_date_longer_than_any_date(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(200, b"{}", Last_Modified=LAST_MODIFIED + " " + "x" * 60))

        assert get(source.url()).last_modified is None


class TestAnUnchangedAnswer:
    def test_it_asks_with_both_validators(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(304))

        get(source.url(), etag=ETAG, last_modified=LAST_MODIFIED)

        (asked,) = source.asked
        assert asked.headers["If-None-Match"] == ETAG
        assert asked.headers["If-Modified-Since"] == LAST_MODIFIED

    def test_it_keeps_the_validators_and_takes_the_new_expiry(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(304, Cache_Control="max-age=600"))

        fetched = get(source.url(), etag=ETAG, last_modified=LAST_MODIFIED)

        assert fetched == Fetched(
            status="unchanged", etag=ETAG, last_modified=LAST_MODIFIED, expires_at=NOW + timedelta(minutes=10)
        )

    def test_it_takes_a_new_validator(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(304, ETag='"run-18"'))

        assert get(source.url(), etag=ETAG).etag == '"run-18"'

    def test_it_is_a_failure_when_nothing_was_kept(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(304))

        fetched = get(source.url())

        assert (
            fetched.error
            == "The source says that nothing is new, though nothing was kept from it (HTTP 304)."
        )


class TestExpiry:
    """RFC 9111: section 4.2.1 (max-age before Expires), 4.2.3 (Age), 5.3 (a bad Expires is in the past)."""

    @pytest.mark.parametrize(
        ("headers", "minutes"),
        [
            ({"Cache_Control": "max-age=1800"}, 30),
            ({"Cache_Control": "public, max-age=1800", "Age": "600"}, 20),
            ({"Cache_Control": "max-age=60", "Age": "600"}, 0),
            ({"Cache_Control": "max-age=60", "Expires": "Wed, 01 Jul 2026 13:00:00 GMT"}, 1),
            ({"Cache_Control": "s-max-age=60", "Expires": "Wed, 01 Jul 2026 12:05:00 GMT"}, 5),
            ({"Expires": "Wed, 01 Jul 2026 12:31:00 GMT"}, 31),
            (
                {"Expires": "Mon, 20 Jul 2020 12:16:23 GMT", "Date": "Mon, 20 Jul 2020 11:44:23 GMT"},
                32,
            ),
            ({"Expires": "Wed, 01 Jul 2026 11:00:00 GMT"}, 0),
            ({"Expires": "Fri, 31 Dec 9999 23:59:59 GMT"}, 24 * 60),
            ({"Cache_Control": "max-age=999999999"}, 24 * 60),
        ],
        ids=[
            "max-age",
            "less its age",
            "older than its age",
            "max-age first",
            "other directive",
            "Expires",
            "wrong clock of the source",
            "past",
            "far future",
            "very long",
        ],
    )
    def test_it_is_counted_on_our_clock(self, source: Source, headers: dict[str, str], minutes: int) -> None:
        source.answer(lambda ask: ask.send(200, b"{}", **headers))

        assert get(source.url()).expires_at == NOW + timedelta(minutes=minutes)

    @pytest.mark.parametrize("expires", ["0", "-1", "soon", "Wed, 99 Jul 2026 12:00:00 GMT", ""])
    def test_it_is_unknown_when_the_header_is_no_date(self, source: Source, expires: str) -> None:
        source.answer(lambda ask: ask.send(200, b"{}", Expires=expires))

        assert get(source.url()).expires_at is None


class TestAFailure:
    @pytest.mark.parametrize(
        ("status", "sentence"),
        [
            (204, "The source answered without a forecast (HTTP 204)."),
            (400, "The source does not understand the request; check its address (HTTP 400)."),
            (401, "The source wants a sign-in (HTTP 401)."),
            (403, "The source refuses us; check its terms and the contact in our User-Agent (HTTP 403)."),
            (404, "There is nothing at this address; check it (HTTP 404)."),
            (410, "There is nothing at this address any more; look for its successor (HTTP 410)."),
            (429, "The source says that we ask too often (HTTP 429)."),
            (500, "The source has a fault of its own (HTTP 500)."),
            (503, "The source has a fault of its own (HTTP 503)."),
        ],
    )
    def test_it_tells_a_refusal_in_a_plain_sentence(self, source: Source, status: int, sentence: str) -> None:
        source.answer(lambda ask: ask.send(status))

        fetched = get(source.url())

        assert (fetched.status, fetched.body, fetched.error) == ("failed", None, sentence)

    def test_it_keeps_the_validators_of_the_last_good_answer(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(500, b"oops", ETag='"error-page"'))

        fetched = get(source.url(), etag=ETAG, last_modified=LAST_MODIFIED)

        assert (fetched.etag, fetched.last_modified) == (ETAG, LAST_MODIFIED)

    @pytest.mark.parametrize(
        ("retry_after", "seconds"),
        [
            ("120", 120),
            ("Wed, 01 Jul 2026 12:05:00 GMT", 300),
            ("Wed, 01 Jul 2026 11:00:00 GMT", 0),
            ("later", None),
        ],
    )
    def test_it_passes_on_how_long_to_wait(
        self, source: Source, retry_after: str, seconds: float | None
    ) -> None:
        """RFC 9110, section 10.2.3: seconds or a date."""
        source.answer(lambda ask: ask.send(503, Retry_After=retry_after))

        assert get(source.url()).retry_after_s == seconds

    def test_it_gives_up_on_silence(self, source: Source) -> None:
        source.answer(lambda ask: ask.server.closing.wait(PATIENCE_S))

        assert get(source.url(), timeout_s=0.1).error == "The source did not answer within 0.1 s."

    def test_it_gives_up_on_a_body_that_drips(self, source: Source) -> None:
        def drip(ask: Handler) -> None:
            ask.send(200, Content_Length="1000")
            while not ask.server.closing.wait(0.02):
                ask.wfile.write(b".")

        source.answer(drip)

        assert get(source.url(), timeout_s=0.2).error == "The source sends its answer too slowly."

    def test_it_refuses_a_body_that_breaks_off(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(200, b'{"type": "Feat', Content_Length="5000"))

        fetched = get(source.url())

        assert (fetched.status, fetched.body) == ("failed", None)
        assert fetched.error == "The source broke off in the middle of its answer, or did not speak HTTP."

    def test_it_refuses_an_answer_that_is_not_http(self, source: Source) -> None:
        source.answer(lambda ask: ask.wfile.write(b"220 mail ready\r\n\r\n"))

        assert (
            get(source.url()).error
            == "The source broke off in the middle of its answer, or did not speak HTTP."
        )

    def test_it_refuses_gzip_that_is_none(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(200, b"not gzip", Content_Encoding="gzip"))

        assert get(source.url()).error == "The source sent an answer that can't be unpacked."

    def test_it_refuses_an_empty_body(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(200, b" \n"))

        assert get(source.url()).error == "The source sent an empty answer."

    def test_it_refuses_a_body_announced_too_large_without_reading_it(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(200, Content_Length=str(MOST_BYTES + 1)))

        assert get(source.url()).error == "The source sends more than 5 MB, which is no forecast."

    def test_it_refuses_a_body_that_unpacks_too_large(self, source: Source) -> None:
        packed = gzip.compress(bytes(MOST_BYTES + 1))
        source.answer(lambda ask: ask.send(200, packed, Content_Encoding="gzip"))

        assert get(source.url()).error == "The source sends more than 5 MB, which is no forecast."

    def test_it_takes_a_body_of_just_the_limit(self, source: Source) -> None:
        body = b"x" * MOST_BYTES
        source.answer(lambda ask: ask.send(200, body))

        assert get(source.url()).body == body

    def test_it_says_when_nobody_listens(self) -> None:
        with Source() as closed:
            url = closed.url()

        assert get(url).error == "The source can't be reached; check its address and this machine's network."

    def test_it_says_when_the_port_cannot_be(self) -> None:
        fetched = get("http://127.0.0.1:99999/")

        assert fetched.error == "The source can't be reached; check its address and this machine's network."

    @pytest.mark.parametrize(
        "url",
        [
            "",
            "forecast",
            "ftp://127.0.0.1/x",
            "file:///etc/hosts",
            "http://",
            "http://[::1",
        ],
    )
    def test_it_refuses_what_is_no_web_address(self, url: str) -> None:
        assert get(url).error == "The address of the source is not a web address (http or https)."


class TestRedirects:
    def test_it_follows_a_few(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(302, Location="/second"))
        source.answer(lambda ask: ask.send(308, Location=ask.server.url("/third")), "/second")
        source.answer(lambda ask: ask.send(200, b"{}"), "/third")

        assert get(source.url(), etag=ETAG).body == b"{}"
        assert [asked.headers["If-None-Match"] for asked in source.asked] == [ETAG] * 3

    def test_it_gives_up_after_three(self, source: Source) -> None:
        source.answer(lambda ask: ask.send(302, Location="/forecast"))

        assert get(source.url()).error == "The source redirects more than 3 times; ask for its new address."
        assert len(source.asked) == 4

    @pytest.mark.parametrize("location", ["file:///etc/hosts", "ftp://127.0.0.1/forecast"])
    def test_it_never_leaves_the_web(self, source: Source, location: str) -> None:
        source.answer(lambda ask: ask.send(302, Location=location))

        fetched = get(source.url())

        assert fetched.error == "The address of the source is not a web address (http or https)."

    def test_it_never_steps_down_from_https(self) -> None:
        """A stand-in transport, as a certificate for loopback would prove nothing more."""
        redirect = httpx.MockTransport(
            lambda _: httpx.Response(302, headers={"Location": "http://a.example/"})
        )

        with httpx.Client(transport=redirect) as client:
            fetched = fetch(
                "https://a.example/",
                etag=None,
                last_modified=None,
                user_agent=AGENT,
                client=client,
                private=True,
                now=NOW,
            )

        assert fetched.error == "The source redirects from https to http; ask for its new address."


@settings(deadline=None)
@given(
    url=st.text(max_size=40) | st.text(max_size=40).map("http://a.example/{}".format),
    etag=st.none() | st.text(max_size=20),
    location=st.binary(max_size=40),
    headers=st.dictionaries(
        st.sampled_from(["Expires", "Date", "Cache-Control", "Age", "Retry-After", "ETag", "Content-Length"]),
        st.binary(max_size=30),
    ),
    status=st.sampled_from([200, 203, 302, 304, 307, 429, 503]),
)
def test_it_never_raises_for_what_an_address_or_a_source_says(
    url: str, etag: str | None, location: bytes, headers: dict[str, bytes], status: int
) -> None:
    """A stand-in transport: any address may come up, and none must be asked."""
    said = [(name.encode(), value) for name, value in headers.items()] + [(b"Location", location)]
    transport = httpx.MockTransport(lambda _: httpx.Response(status, headers=said, content=b"{}"))

    with httpx.Client(transport=transport) as client:
        fetched = fetch(
            url, etag=etag, last_modified=None, user_agent=AGENT, client=client, private=True, now=NOW
        )

    assert (fetched.status == "failed") == (fetched.error is not None)
    assert (fetched.status == "new") == (fetched.body is not None)


class TestNextTry:
    @pytest.mark.parametrize(
        ("failures", "minutes"),
        [(0, 1), (1, 1), (2, 2), (3, 4), (4, 8), (6, 32), (7, 60), (8, 60), (10**6, 60)],
    )
    def test_it_waits_twice_as_long_after_each_failure_up_to_an_hour(
        self, failures: int, minutes: int
    ) -> None:
        wait = next_try_at(NOW, failures, seed=3) - NOW

        assert timedelta(minutes=minutes) <= wait <= timedelta(minutes=minutes) * 1.25

    @pytest.mark.parametrize(
        ("asked_s", "least_s"), [(30, 60), (900, 900), (7200, 7200), (10**9, 86400), (-5, 60)]
    )
    def test_it_waits_as_long_as_the_source_asks_up_to_a_day(self, asked_s: float, least_s: float) -> None:
        wait = next_try_at(NOW, 1, asked_s, seed=3) - NOW

        assert timedelta(seconds=least_s) <= wait <= timedelta(seconds=least_s) * 1.25

    @given(failures=st.integers(1, 50), seed=st.integers(0, 10**6) | st.text(max_size=8))
    def test_it_is_the_same_for_the_same_seed(self, failures: int, seed: int | str) -> None:
        assert next_try_at(NOW, failures, seed=seed) == next_try_at(NOW, failures, seed=seed)

    def test_it_spreads_sources_over_the_jitter(self) -> None:
        waits = [(next_try_at(NOW, 7, seed=seed) - NOW) / timedelta(hours=1) for seed in range(200)]

        assert min(waits) < 1.02
        assert max(waits) > 1.23


@pytest.mark.parametrize(
    "url",
    [
        "http://127.0.0.1:9/",
        "http://localhost:9/",
        "http://10.1.2.3/",
        "http://169.254.169.254/",
        "http://[::1]:9/",
    ],
)
def test_it_asks_nothing_inside_a_private_network(url: str) -> None:
    """OWASP ASVS 5.0.0, 1.3.6: addresses typed by people must not reach the network that serves us."""
    asked: list[httpx.Request] = []

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(request)
        return httpx.Response(200)

    transport = httpx.MockTransport(answer)

    with httpx.Client(transport=transport) as client:
        fetched = fetch(url, etag=None, last_modified=None, user_agent=AGENT, client=client, now=NOW)

    assert fetched.status == "failed"
    assert "private network" in (fetched.error or "")
    assert asked == []


def test_it_follows_no_redirect_into_a_private_network() -> None:
    inward = httpx.MockTransport(lambda _: httpx.Response(302, headers={"Location": "http://192.168.0.1/"}))

    with httpx.Client(transport=inward) as client:
        fetched = fetch(
            "http://1.1.1.1/", etag=None, last_modified=None, user_agent=AGENT, client=client, now=NOW
        )

    assert "private network" in (fetched.error or "")
