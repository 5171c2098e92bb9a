"""The test run's own plugin: chooses engine and data folder before Django reads its settings."""

import os
from collections.abc import Iterator
from contextlib import ExitStack
from tempfile import TemporaryDirectory

import pytest

from tests import servers

ENGINES = ("sqlite", "postgresql")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--engine", choices=ENGINES, default="sqlite", help="database that the tests run on")


@pytest.hookimpl(wrapper=True)
def pytest_load_initial_conftests(early_config: pytest.Config) -> Iterator[None]:
    """A wrapper runs before pytest-django's own hook, which is where settings are read."""
    running = ExitStack()
    os.environ["MARRAM_MODE"] = "test"
    os.environ["MARRAM_DATA"] = running.enter_context(TemporaryDirectory(prefix="marram-test-"))
    if early_config.known_args_namespace.engine == "postgresql":
        os.environ["MARRAM_DATABASE_URL"] = running.enter_context(servers.postgresql())
    early_config.add_cleanup(running.close)
    yield


@pytest.fixture(scope="session")
def engine(request: pytest.FixtureRequest) -> str:
    """The database engine of this run."""
    return str(request.config.getoption("--engine"))
