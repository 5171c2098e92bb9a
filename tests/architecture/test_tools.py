"""What the tools say: formatting, lint, types, imports, migrations, deployment checks."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOOLS = Path(sys.executable).parent


def run(*command: str, **environment: str) -> "subprocess.CompletedProcess[str]":
    return subprocess.run(
        command, cwd=ROOT, env={**os.environ, **environment}, capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize(
    "command",
    [
        pytest.param(("ruff", "format", "--check", "."), id="ruff format"),
        pytest.param(("ruff", "check", "."), id="ruff check"),
        pytest.param(("mypy", "rigging", "rentals", "api", "manage.py", "tests"), id="mypy"),
        pytest.param(("lint-imports",), id="import contracts"),
    ],
)
def test_it_has_nothing_to_say(command: tuple[str, ...]) -> None:
    done = run(str(TOOLS / command[0]), *command[1:])

    assert done.returncode == 0, done.stdout + done.stderr


def test_the_lock_is_of_this_project_file() -> None:
    done = run(str(TOOLS / "uv"), "lock", "--check", "--offline")

    assert done.returncode == 0, done.stderr


def test_models_and_migrations_agree() -> None:
    done = run(sys.executable, "manage.py", "makemigrations", "--check", "--dry-run")

    assert done.returncode == 0, done.stdout


def test_a_production_start_raises_no_security_warning() -> None:
    done = run(
        sys.executable,
        "manage.py",
        "check",
        "--deploy",
        "--fail-level",
        "WARNING",
        MARRAM_MODE="production",
        MARRAM_SECRET_KEY="kept-in-the-environment-" + "x9" * 30,
        MARRAM_ALLOWED_HOSTS="station.invalid",
    )

    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize(
    ("environment", "says"),
    [
        pytest.param({}, "MARRAM_SECRET_KEY", id="no key"),
        pytest.param({"MARRAM_SECRET_KEY": "short"}, "at least 50", id="short key"),
        pytest.param({"MARRAM_SECRET_KEY": "k" * 60}, "MARRAM_ALLOWED_HOSTS", id="no hosts"),
        pytest.param({"MARRAM_MODE": "holiday"}, "production, demo, test", id="unknown mode"),
    ],
)
def test_a_start_with_bad_settings_is_refused_by_name(environment: dict[str, str], says: str) -> None:
    done = run(sys.executable, "manage.py", "check", **{"MARRAM_MODE": "production", **environment})

    assert done.returncode != 0
    assert says in done.stderr
