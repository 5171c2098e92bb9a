"""Private servers for tests: PostgreSQL and Redis on free loopback ports, gone with the run."""

import os
import pwd
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import IO

PATIENCE_S = 30


class ServerMissing(RuntimeError):
    """A server program that the tests need is not on this machine; `tests/run` installs it."""


def program(name: str) -> str:
    """Return the path of a server program; Debian keeps PostgreSQL's out of the path.

    Raises:
        ServerMissing: it is not installed.
    """
    places = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    found = shutil.which(name, path=os.pathsep.join([*map(str, places), os.environ.get("PATH", "")]))
    if found is None:
        raise ServerMissing(f"{name} is not installed. Run tests/run, which installs what is missing.")
    return found


def free_port() -> int:
    """Return a loopback port that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


class Server:
    """A server that a test may stop and start again on the same port, with what it has kept."""

    def __init__(self, command: list[str], port: int, url: str, log: IO[bytes]) -> None:
        self.command, self.port, self.url, self.log = command, port, url, log

    def start(self) -> None:
        """Start it, and wait until it answers."""
        self.process = subprocess.Popen(self.command, stdout=self.log, stderr=self.log)
        _wait_for(self.port, self.process)

    def stop(self) -> None:
        """Stop it at once, whoever is connected."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            self.process.wait(PATIENCE_S)


@contextmanager
def postgresql() -> Iterator[str]:
    """Run a PostgreSQL of our own, without durability; yield its URL."""
    with postgresql_server() as server:
        yield server.url


@contextmanager
def postgresql_server() -> Iterator[Server]:
    """Run a PostgreSQL of our own, without durability; yield it, to be stopped and started.

    It refuses to run as root, so as root it runs as the user that Debian's package made for it.
    """
    with TemporaryDirectory(prefix="marram-pg-") as folder:
        home, port = Path(folder), free_port()
        drop = _unprivileged(home)
        data = home / "data"
        _run(
            [
                *drop,
                program("initdb"),
                "-D",
                str(data),
                "-U",
                "marram",
                "--auth=trust",
                "-E",
                "UTF8",
                "--no-sync",
            ]
        )
        server = [
            *drop,
            program("postgres"),
            "-D",
            str(data),
            "-h",
            "127.0.0.1",
            "-p",
            str(port),
            "-k",
            folder,
        ]
        for setting in ("fsync=off", "synchronous_commit=off", "full_page_writes=off", "max_connections=300"):
            server += ["-c", setting]
        with (home / "log").open("wb") as log:
            running = Server(server, port, f"postgres://marram@127.0.0.1:{port}/postgres", log)
            try:
                running.start()
                yield running
            finally:
                running.stop()


@contextmanager
def redis(port: int | None = None) -> Iterator[str]:
    """Run a Redis of our own that keeps nothing on disk, on a free port or a given one; yield its URL."""
    with TemporaryDirectory(prefix="marram-redis-") as folder:
        port = port or free_port()
        server = [program("redis-server"), "--port", str(port), "--bind", "127.0.0.1", "--dir", folder]
        server += ["--save", "", "--appendonly", "no"]
        with subprocess.Popen(server, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
            try:
                _wait_for(port, process)
                yield f"redis://127.0.0.1:{port}/0"
            finally:
                process.terminate()
                process.wait(PATIENCE_S)


def _unprivileged(home: Path) -> list[str]:
    if os.geteuid() != 0:
        return []
    try:
        postgres = pwd.getpwnam("postgres")
    except KeyError as error:
        raise ServerMissing("There is no user postgres to run PostgreSQL as. Run tests/run.") from error
    os.chown(home, postgres.pw_uid, postgres.pw_gid)
    return [program("setpriv"), "--reuid=postgres", "--regid=postgres", "--clear-groups"]


def _run(command: list[str]) -> None:
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd="/tmp")  # noqa: S108
    if done.returncode:
        raise RuntimeError(f"{command} failed: {done.stderr}")


def _wait_for(port: int, process: "subprocess.Popen[bytes]") -> None:
    """Wait until a server accepts connections."""
    until = time.monotonic() + PATIENCE_S
    while process.poll() is None and time.monotonic() < until:
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
        except OSError:
            time.sleep(0.02)
        else:
            return
    raise RuntimeError(f"{process.args!r} did not come up")
