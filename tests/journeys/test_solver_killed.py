"""A worker killed in the middle of a day plan: what is in force stays, another goes on, and it is said."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from rigging.allot.jsonform import from_plan, from_problem
from rigging.allot.solve import solve
from tests.journeys.house import ROOT, eventually
from tests.rigging.allot import instances, sheds

pytestmark = pytest.mark.journey

LATER_S = 3600
"""By how much each worker's clock is ahead of the one's before, so that a dead one is missed at once."""

PUT = """
import json, os
from datetime import UTC, datetime
import django
django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from rentals.dayplan.models import Plan
from rentals.desk.demo import told
from rentals.stations.models import Station
given = json.load(open(os.environ["GIVEN"]))
station = Station.objects.create(**told("stations")[0])
now = datetime.now(UTC)
common = dict(station=station, day=now.date(), formulas="test", asked_at=now)
Plan.objects.create(number=1, state="accepted", inputs=given["small"], result=given["result"], solved_at=now,
                    accepted_at=now, proven=True, **common)
Plan.objects.create(number=2, inputs=given["large"], **common)
"""

CALL = "import django; django.setup(); from rentals.celery import app; app.send_task('dayplan.solve')"


def environment(data: Path, **more: str) -> dict[str, str]:
    clean = {name: value for name, value in os.environ.items() if not name.startswith("MARRAM_")}
    here = {"MARRAM_MODE": "demo", "MARRAM_DATA": str(data), "DJANGO_SETTINGS_MODULE": "rentals.settings"}
    return {**clean, **here, **more}


def run(code: str, data: Path, **more: str) -> None:
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=environment(data, **more), check=True)


@contextmanager
def worker(data: Path, turn: int) -> Iterator["subprocess.Popen[bytes]"]:
    """A worker of its own, as the demo runs it, called to work."""
    run(CALL, data)
    ahead = environment(data, MARRAM_CLOCK_SHIFT_S=str(turn * LATER_S))
    command = [sys.executable, "-W", "ignore", "-m", "celery", "-A", "rentals", "--quiet", "worker"]
    command += ["--pool", "threads", "--concurrency", "2", "--without-gossip"]
    with subprocess.Popen(command, cwd=ROOT, env=ahead, stdout=subprocess.DEVNULL) as process:
        try:
            yield process
        finally:
            process.kill()


def plans(data: Path) -> list[tuple[str, int, str]]:
    """State, tries and words of the plan in force and of the new one."""
    with sqlite3.connect(f"file:{data / 'marram.sqlite3'}?mode=ro", uri=True, timeout=20) as database:
        rows = database.execute("SELECT state, tries, words FROM dayplan_plan ORDER BY number")
        return [(state, tries, words) for state, tries, words in rows]


def test_the_plan_in_force_stays_and_the_one_that_killed_two_workers_is_given_up(tmp_path: Path) -> None:
    small = sheds.shed(sheds.rider("1", sails={5.3: 0.0}))
    given = tmp_path / "given.json"
    given.write_text(
        json.dumps(
            {
                "small": from_problem(small),
                "result": from_plan(solve(small), small),
                # A day of 1,500 riders: no worker is done before it is found out and killed.
                "large": from_problem(instances.day(instances.POOLED, 1)),
            }
        )
    )
    run(PUT, tmp_path, GIVEN=str(given))

    for turn in (1, 2):
        with worker(tmp_path, turn) as process:
            eventually(lambda turn=turn: plans(tmp_path)[1][:2] == ("solving", turn), patience_s=60)  # type: ignore[misc]
            process.send_signal(signal.SIGKILL)
            process.wait()
        in_force, (state, tries, words) = plans(tmp_path)
        assert (in_force[0], state, tries) == ("accepted", "solving", turn)
    assert "The worker before stopped in the middle of it" in words or words.startswith("Solving")

    with worker(tmp_path, 3):
        eventually(lambda: plans(tmp_path)[1][0] == "failed", patience_s=60)

    in_force, (_, _, words) = plans(tmp_path)
    assert in_force[0] == "accepted"
    assert words == ("The worker stopped in the middle of it, twice. What was in force stays in force.")
