"""`manage.py demo`: a station by the sea to look around in; pages, worker and beat as one process tree."""

import os
import signal
import socket
import subprocess
import sys
import time
from argparse import ArgumentParser
from collections.abc import Mapping
from contextlib import ExitStack
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from rentals.audit.models import Entry
from rentals.desk import demo, services
from rentals.lib.access import System, service
from rentals.stations.models import Station

DAY_FROM, DAY_UNTIL, MORNING = 10, 15, 10
STOP_PATIENCE_S = 10
PAGES = ("--host", "127.0.0.1", "--log-level", "warning", "--blocking-threads", "4")
LOOK_EVERY_S = 0.2


class Command(BaseCommand):
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
        call_command("migrate", verbosity=0)
        shift = self._load()
        if not options["only_load"]:
            self._run(port, shift)

    def _load(self) -> timedelta:
        """Load what is missing; return how far the demo's clock is from the wall's."""
        actual = timezone.now()
        if not services.is_loaded():
            self.stdout.write("Loading two beaches, their sheds, riders and a season of history …")
            services.load_scenario(actor=service(System.SEED), now=actual)
        station = Station.objects.order_by("id").first()
        assert station is not None  # noqa: S101 - it was just loaded
        last = Entry.objects.order_by("-at").values_list("at", flat=True).first()
        now = daytime(station.local(actual), last)
        if now - actual > timedelta(minutes=1) or actual - now > timedelta(minutes=1):
            self.stdout.write(
                f"It is {station.local(actual):%H:%M} at {station.name}, no time to go afloat; "
                f"the demo's clock starts at {station.local(now):%a %-d %b, %H:%M}."
            )
        services.fill_day(now=now)
        return now - actual

    def _run(self, port: int, shift: timedelta) -> None:
        environment = {**os.environ, "MARRAM_CLOCK_SHIFT_S": str(round(shift.total_seconds()))}
        worker = ["-m", "celery", "-A", "rentals", "--quiet"]
        commands = {
            "pages": [
                "-m",
                "granian",
                "--interface",
                "wsgi",
                "--port",
                str(port),
                *PAGES,
                "rentals.wsgi:application",
            ],
            "worker": [*worker, "worker", "--pool", "solo", "--loglevel", "warning", "--without-gossip"],
            "periodic tasks": [*worker, "beat", "--loglevel", "warning", "--pidfile="],
        }
        with ExitStack() as children:
            running = {
                name: children.enter_context(_child(command, environment))
                for name, command in commands.items()
            }
            self._greet(port)
            _wait(running)
            self.stdout.write("Stopped. What you entered is kept for the next start.")

    def _greet(self, port: int) -> None:
        lines = [
            "",
            f"Marram's demo is at http://127.0.0.1:{port}/",
            f"Sign in with the password {demo.PASSWORD} as",
            *(f"  {facts['username']:<12} {facts['role']}" for facts in demo.told("people")["staff"]),
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

    def __init__(self, command: list[str], environment: Mapping[str, str]) -> None:
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


def _wait(running: Mapping[str, "subprocess.Popen[bytes]"]) -> None:
    """Wait for Ctrl-C or a stop.

    Raises:
        CommandError: a child ended by itself.
    """
    stopping: list[int] = []
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda received, _frame: stopping.append(received))
    while not stopping:
        for name, process in running.items():
            if process.poll() is not None:
                raise CommandError(
                    f"The {name} stopped by itself ({process.returncode}). See its words above."
                )
        time.sleep(LOOK_EVERY_S)
