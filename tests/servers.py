"""Private servers for tests: PostgreSQL and Redis on free loopback ports, gone with the run."""

import os
import pwd
import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

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


@contextmanager
def postgresql() -> Iterator[str]:
    """Run a PostgreSQL of our own, without durability; yield its URL.

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
        with (home / "log").open("wb") as log, subprocess.Popen(server, stdout=log, stderr=log) as process:
            try:
                _wait_for(port, process)
                yield f"postgres://marram@127.0.0.1:{port}/postgres"
            finally:
                process.send_signal(2)
                process.wait(PATIENCE_S)


@contextmanager
def redis() -> Iterator[str]:
    """Run a Redis of our own that keeps nothing on disk; yield its URL."""
    with TemporaryDirectory(prefix="marram-redis-") as folder:
        port = free_port()
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
