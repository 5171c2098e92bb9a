"""The watch under kill -9: two workers and two beats on a real Redis, killed in the middle of what they do.

Each phase is raised exactly once, its mail and its post arrive at least once under the same id, none is lost.
"""

import os
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any
from urllib.error import HTTPError, URLError
from urllib.request import urlopen

import psycopg
import pytest
from standardwebhooks import Webhook

from tests import servers
from tests.journeys.house import ROOT, demo, eventually
from tests.journeys.mortal import CREW, POINTS

pytestmark = pytest.mark.journey

ROUNDS = int(os.environ.get("MARRAM_ROUNDS", str(len(POINTS))))
"""A hundred were run by hand; by default each point of death has its turn."""
PHASES = ["uncertainty", "alert", "distress"]
PATIENCE_S = 300


class Receiver(ThreadingHTTPServer):
    """What a station's own service would be: it checks the signature and keeps the id."""

    secret = ""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Post)
        self.came: Counter[str] = Counter()


class Post(BaseHTTPRequestHandler):
    server: Receiver

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        Webhook(self.server.secret).verify(body, dict(self.headers))
        self.server.came[self.headers["webhook-id"]] += 1
        self.send_response(HTTPStatus.NO_CONTENT)
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the base class says so
        """Keep quiet."""


@contextmanager
def receiving() -> Iterator[Receiver]:
    with Receiver() as running:
        thread = Thread(target=running.serve_forever)
        thread.start()
        try:
            yield running
        finally:
            running.shutdown()
            thread.join()


@contextmanager
def at_work(environment: Mapping[str, str], data: Path) -> Iterator[None]:
    """Two workers and two beats; whoever dies is started again."""
    with (data / "words").open("ab") as words:
        crew = subprocess.Popen(
            [sys.executable, "-W", "ignore", "-m", "tests.journeys.mortal", "crew", str(data)],
            cwd=ROOT,
            env=dict(environment),
            stdout=words,
            stderr=words,
            start_new_session=True,
        )
        try:
            yield
            assert crew.poll() is None
        finally:
            os.killpg(crew.pid, signal.SIGKILL)
            crew.wait()


def deaths(data: Path) -> list[str]:
    """Who has died, and of what."""
    log = data / "deaths"
    return log.read_text().splitlines() if log.exists() else []


def prepared(environment: Mapping[str, str], outings: int, url: str) -> str:
    """Fill the database; return the secret of the hook."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.journeys.mortal", "prepare", str(outings), url],
        cwd=ROOT,
        env=dict(environment),
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


def asked(database: "psycopg.Connection[Any]", statement: str, *values: object) -> list[Any]:
    return database.execute(statement, values).fetchall()


def test_each_phase_is_raised_once_and_told_at_least_once_whoever_is_killed(tmp_path: Path) -> None:
    with ExitStack() as stack:
        url = stack.enter_context(servers.postgresql())
        broker = stack.enter_context(servers.redis())
        receiver = stack.enter_context(receiving())
        order = tmp_path / "order"
        environment = {
            **{name: value for name, value in os.environ.items() if not name.startswith("MARRAM_")},
            "MARRAM_MODE": "demo",
            "MARRAM_DATA": str(tmp_path),
            "MARRAM_DATABASE_URL": url,
            "MARRAM_BROKER_URL": broker,
            "MARRAM_FETCH_PRIVATE": "1",
            "MORTAL_ORDER": str(order),
        }
        hook = f"http://127.0.0.1:{receiver.server_port}/late"
        receiver.secret = prepared(environment, ROUNDS, hook)
        stack.enter_context(at_work(environment, tmp_path))
        eventually(lambda: (tmp_path / f"{CREW[-1]}.pid").exists(), patience_s=PATIENCE_S)
        database = stack.enter_context(psycopg.connect(url, autocommit=True))
        outings = [row[0] for row in asked(database, "SELECT id FROM bookings_outing ORDER BY id")]

        for number, outing in enumerate(outings):
            order.write_text(POINTS[number % len(POINTS)])
            os.kill(int((tmp_path / f"beat-{1 + number % 2}.pid").read_text()), signal.SIGKILL)
            # An hour late: all three phases begin at once.
            asked(
                database,
                "UPDATE bookings_outing SET ends_at = now() - interval '1 hour' WHERE id = %s RETURNING id",
                outing,
            )
            eventually(lambda: _settled(database, outing, order), patience_s=PATIENCE_S)  # noqa: B023 - called at once
            asked(
                database,
                "UPDATE bookings_outing SET state = 'ashore', ashore_at = now() WHERE id = %s RETURNING id",
                outing,
            )

        # One beat and one worker each round, all of kill -9.
        assert Counter(line.split()[1] for line in deaths(tmp_path)) == {"-9": 2 * ROUNDS}
        _check(database, outings, receiver, tmp_path)


def _settled(database: "psycopg.Connection[Any]", outing: int, order: Path) -> bool:
    """Whether the ordered death has come and all that was to be told of an outing is sent."""
    mark = f"overdue:{outing}:%"
    letters = asked(database, "SELECT sent_at FROM mail_letter WHERE event LIKE %s", mark)
    calls = asked(database, "SELECT sent_at FROM mail_call WHERE event LIKE %s", mark)
    sent = [row[0] for row in letters + calls if row[0] is not None]
    return len(sent) == 2 * len(PHASES) and not order.exists()


def _check(database: "psycopg.Connection[Any]", outings: list[int], receiver: Receiver, data: Path) -> None:
    raised = asked(database, "SELECT outing_id, phase, count(*) FROM afloat_phasechange GROUP BY 1, 2")
    assert sorted(raised) == sorted((outing, phase, 1) for outing in outings for phase in PHASES)
    told = asked(
        database,
        "SELECT subject_id, count(*) FROM audit_entry WHERE subject_kind = 'outing' "
        "AND text LIKE 'Overdue: %%' AND text NOT LIKE '%%call%%' GROUP BY 1",
    )
    assert sorted(told) == [(outing, len(PHASES)) for outing in outings]
    events = {
        row[0] for row in asked(database, "SELECT event FROM mail_letter WHERE event LIKE 'overdue:%%'")
    }
    assert len(events) == len(outings) * len(PHASES)
    assert set(receiver.came) == events
    letters = "".join(path.read_text() for path in (data / "mail").glob("*"))
    arrived = {event for event in events if f"Message-ID: <{event.replace(':', '.')}@" in letters}
    assert arrived == events
    assert "Traceback" not in (data / "words").read_text()


def _status(address: str) -> int:
    try:
        with urlopen(address, timeout=5) as reply:  # noqa: S310 - loopback
            return int(reply.status)
    except HTTPError as error:
        return error.code
    except (URLError, ConnectionError, TimeoutError):
        return 0


def test_it_recovers_by_itself_from_a_broker_and_a_database_that_were_away(tmp_path: Path) -> None:
    port = servers.free_port()
    with ExitStack() as stack:
        database = stack.enter_context(servers.postgresql_server())
        broker = ExitStack()
        stack.callback(broker.close)
        broker_url = broker.enter_context(servers.redis(port))
        house = stack.enter_context(
            demo(tmp_path, MARRAM_DATABASE_URL=database.url, MARRAM_BROKER_URL=broker_url)
        )
        health, ready = f"{house.address}/health/", f"{house.address}/health/ready/"
        eventually(lambda: _status(health) == HTTPStatus.OK, patience_s=PATIENCE_S)

        # Redis is away until the missing beat shows, which takes a minute.
        broker.close()
        eventually(lambda: _status(health) == HTTPStatus.SERVICE_UNAVAILABLE, patience_s=90)
        assert _status(ready) == HTTPStatus.OK
        broker.enter_context(servers.redis(port))
        eventually(lambda: _status(health) == HTTPStatus.OK, patience_s=PATIENCE_S)

        database.stop()
        eventually(lambda: _status(ready) == HTTPStatus.SERVICE_UNAVAILABLE)
        database.start()
        eventually(lambda: _status(health) == HTTPStatus.OK, patience_s=PATIENCE_S)

        with psycopg.connect(database.url) as connection:
            said = asked(
                connection, "SELECT text FROM audit_entry WHERE text LIKE 'The watch did not look from%%'"
            )
        assert said
