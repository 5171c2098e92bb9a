"""The whole process tree of the demo, started for a test and stopped as a person would."""

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

from tests.servers import free_port

ROOT = Path(__file__).parents[2]
PATIENCE_S = 240
OURS = {"PYTHONUNBUFFERED": "1", "MARRAM_FETCH_PRIVATE": "1"}


@dataclass(frozen=True)
class House:
    """A running demo: its address, its data folder, its process, and how long its first page took."""

    address: str
    data: Path
    process: "subprocess.Popen[str]"
    first_page_s: float


@contextmanager
def demo(data: Path, *, stop: signal.Signals = signal.SIGINT, **environment: str) -> Iterator[House]:
    """Run `manage.py demo` on a free port; stop it by Ctrl-C's signal unless another is named."""
    port = free_port()
    clean = {name: value for name, value in os.environ.items() if not name.startswith("MARRAM_")}
    started = time.monotonic()
    with (data / "words").open("a") as words:
        process = subprocess.Popen(
            [sys.executable, "manage.py", "demo", "--port", str(port)],
            cwd=ROOT,
            env={**clean, **OURS, "MARRAM_DATA": str(data), **environment},
            stdout=words,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
        )
        try:
            address = f"http://127.0.0.1:{port}"
            _wait_for_page(f"{address}/sign-in/", process, data)
            yield House(address, data, process, time.monotonic() - started)
        finally:
            if process.poll() is None:
                process.send_signal(stop)
            try:
                process.wait(30)
            except subprocess.TimeoutExpired:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait()
                raise


def words_of(house: House) -> str:
    """Return what the demo said so far."""
    return (house.data / "words").read_text()


def children_of(data: Path) -> list[int]:
    """Return processes whose environment names this data folder: the tree, and whatever it left behind."""
    found = []
    for folder in Path("/proc").iterdir():
        if not re.fullmatch(r"\d+", folder.name):
            continue
        try:
            environment = (folder / "environ").read_bytes()
        except OSError:
            continue
        if f"MARRAM_DATA={data}".encode() in environment.split(b"\0"):
            found.append(int(folder.name))
    return found


def eventually(holds: Callable[[], object], *, patience_s: float = 30) -> None:
    """Wait until a callable returns something true; fail when it never does."""
    until = time.monotonic() + patience_s
    while not holds():
        assert time.monotonic() < until, "it never came true"
        time.sleep(0.25)


def _wait_for_page(address: str, process: "subprocess.Popen[str]", data: Path) -> None:
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        assert process.poll() is None, (data / "words").read_text()
        try:
            with urlopen(address, timeout=5) as reply:  # noqa: S310 - loopback
                assert reply.status == 200
                return
        except (URLError, ConnectionError, TimeoutError):
            time.sleep(0.1)
    raise AssertionError((data / "words").read_text())
