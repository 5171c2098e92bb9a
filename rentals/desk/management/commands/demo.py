"""`manage.py demo`: a station by the sea to look around in; pages, worker and beat as one process tree."""

import os
import signal
import socket
import subprocess
import sys
import time
from argparse import ArgumentParser
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, suppress
from datetime import datetime, timedelta
from typing import Any
from urllib.request import urlopen

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from rentals.audit.models import Entry
from rentals.lib.access import System, service
from rentals.stations.models import Station

DAY_FROM, DAY_UNTIL, MORNING = 10, 15, 10
STOP_PATIENCE_S = 10
FIRST_PAGE_PATIENCE_S = 60
MOST_STARTS = 20
PAGES = ("--interface", "wsgi", "--host", "127.0.0.1", "--log-level", "warning", "--blocking-threads", "4")
CELERY = ("-W", "ignore:You're running the worker", "-m", "celery", "-A", "rentals", "--quiet")
LOOK_EVERY_S = 0.2


STOPPED = "Stopped. What you entered is kept for the next start."


class Command(BaseCommand):
    # The checks import every page; a start need not wait for them.
    requires_system_checks = ()
    help = "Start the demo: two invented beaches on SQLite, without any other server."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="port of the pages (default 8000)")
        parser.add_argument("--only-load", action="store_true", help="load the data and stop")

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.IN_PRODUCTION:
            raise CommandError("The demo runs in MARRAM_MODE=demo only.")
        port: int = options["port"]
        if not options["only_load"] and _taken(port):
            raise CommandError(f"Port {port} is taken. Stop what uses it, or give another with --port.")
        # Letters of the scenario are written in this process and lead to the pages of the next.
        settings.PUBLIC_URL = f"http://localhost:{port}"
        call_command("migrate", verbosity=0, skip_checks=True)
        self._load()
        now = self._now()
        if options["only_load"]:
            self._fill(now)
        else:
            self._run(port, now)

    def _load(self) -> None:
        """Load the scenario into an empty database."""
        if Station.objects.exists():
            return
        # Imported where it is needed: a second start has its first page up before the formulas are loaded.
        from rentals.desk import services

        self.stdout.write("Loading two beaches, their sheds, riders and a season of history …")
        services.load_scenario(actor=service(System.SEED), now=timezone.now())

    def _now(self) -> datetime:
        """Return the moment the demo's clock starts at, and say so when the wall's clock tells another."""
        actual = timezone.now()
        station = Station.objects.order_by("id")[0]
        last = Entry.objects.order_by("-at").values_list("at", flat=True).first()
        now = daytime(station.local(actual), last)
        if abs(now - actual) > timedelta(minutes=1):
            self.stdout.write(
                f"It is {station.local(actual):%H:%M} at {station.name}, no time to go afloat; "
                f"the demo's clock starts at {station.local(now):%a %-d %b, %H:%M}."
            )
        return now

    def _fill(self, now: datetime) -> None:
        """Give today its forecast and its outings, where it has none yet, and let the watch look once."""
        from rentals.afloat import services as afloat
        from rentals.desk import services

        services.fill_day(now=now)
        for station_id in Station.objects.values_list("pk", flat=True):
            afloat.watch(actor=service(System.WATCH), station_id=station_id, now=now)

    def _run(self, port: int, now: datetime) -> None:
        shift = round((now - timezone.now()).total_seconds())
        environment = {
            **os.environ,
            "MARRAM_CLOCK_SHIFT_S": str(shift),
            "MARRAM_PUBLIC_URL": settings.PUBLIC_URL,
        }
        starts: Counter[str] = Counter()
        stopping = _stop_signals()
        with ExitStack() as children:

            def start(*command: str) -> "subprocess.Popen[bytes]":
                return children.enter_context(_child(command, environment))

            running = {
                "pages": start("-m", "granian", *PAGES, "--port", str(port), "rentals.wsgi:application")
            }
            self._fill(now)
            # Two cores start one thing sooner than four.
            _wait_for_page(port, running["pages"], stopping)
            if stopping:
                self.stdout.write(STOPPED)
                return
            self._greet(port)
            commands = {
                "worker": (*CELERY, "worker", "--pool", "threads", "--concurrency", "2", "--without-gossip"),
                "periodic tasks": (*CELERY, "beat", "--pidfile="),
            }
            running |= {name: start(*command) for name, command in commands.items()}
            for name in _ended(running, stopping):
                if name not in commands or starts[name] >= MOST_STARTS:
                    raise CommandError(f"The {name} stopped by itself. See its words above.")
                self.stdout.write(f"The {name} stopped by itself and is started again.")
                starts[name] += 1
                running[name] = start(*commands[name])
            self.stdout.write(STOPPED)

    def _greet(self, port: int) -> None:
        from rentals.desk import demo as scenario

        lines = [
            "",
            f"Marram's demo is at http://127.0.0.1:{port}/",
            f"Sign in with the password {scenario.PASSWORD} as",
            *(f"  {facts['username']:<12} {facts['role']}" for facts in scenario.told("people")["staff"]),
            f"Data: {settings.DATA_DIR}. Ctrl-C stops.",
        ]
        self.stdout.write("\n".join(lines))


def daytime(local: datetime, last: datetime | None) -> datetime:
    """Return when the demo's day starts: now by day, else ten in the morning, never before what is known.

    Args:
        local: the wall's moment in the station's zone.
        last: the newest line of the journal.
    """
    known = (last or local) + timedelta(minutes=1)
    if DAY_FROM <= local.hour < DAY_UNTIL and local >= known:
        return local
    morning = local.replace(hour=MORNING, minute=0, second=0, microsecond=0)
    for moment in (morning, known.astimezone(local.tzinfo)):
        if moment >= known and DAY_FROM <= moment.hour < DAY_UNTIL:
            return moment
    return known.astimezone(local.tzinfo).replace(hour=MORNING, minute=0) + timedelta(days=1)


def _wait_for_page(port: int, pages: "subprocess.Popen[bytes]", stopping: Sequence[int]) -> None:
    """Wait until the first page is answered, the pages have ended, or somebody wants all to end."""
    until = time.monotonic() + FIRST_PAGE_PATIENCE_S
    while not stopping and pages.poll() is None and time.monotonic() < until:
        with suppress(OSError), urlopen(f"http://127.0.0.1:{port}/sign-in/", timeout=5):
            return
        time.sleep(LOOK_EVERY_S / 4)


def _taken(port: int) -> bool:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return True
        return False


class _child:  # noqa: N801 - reads as the context manager it is
    """A child in a session of its own, so that Ctrl-C reaches it through us and in order."""

    def __init__(self, command: Sequence[str], environment: Mapping[str, str]) -> None:
        self.command, self.environment = [sys.executable, *command], environment

    def __enter__(self) -> "subprocess.Popen[bytes]":
        self.process = subprocess.Popen(  # noqa: S603 - our own interpreter and modules
            self.command, env=dict(self.environment), cwd=settings.BASE_DIR, start_new_session=True
        )
        return self.process

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.process.terminate()
        try:
            self.process.wait(STOP_PATIENCE_S)
        except subprocess.TimeoutExpired:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()


def _stop_signals() -> list[int]:
    """Return a list that Ctrl-C or a stop is noted in from now on.

    Interrupted in the middle of starting a child, we would not know it and leave it behind.
    """
    stopping: list[int] = []
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda received, _frame: stopping.append(received))
    return stopping


def _ended(running: Mapping[str, "subprocess.Popen[bytes]"], stopping: Sequence[int]) -> Iterator[str]:
    """Yield the name of each child that ends by itself, until somebody wants all to end."""
    while not stopping:
        yield from [name for name, process in running.items() if process.poll() is not None]
        time.sleep(LOOK_EVERY_S)
