"""Fixtures that every test may ask for: the moment, the cast, and transactions that really commit."""

from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.utils import translation
from hypothesis import HealthCheck, settings
from pytest_django.plugin import DjangoDbBlocker

settings.register_profile("ci", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("ci")


@pytest.fixture
def now() -> datetime:
    """A Wednesday in July, ten in the morning on the beach."""
    return datetime(2027, 7, 14, 10, tzinfo=ZoneInfo("Europe/Lisbon"))


@pytest.fixture
def _rules_laid_again(django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """Lays the append-only rules again after the rows were flushed."""
    yield
    with django_db_blocker.unblock():
        _lay_rules()


@pytest.fixture
def committing(_rules_laid_again: None, transactional_db: None) -> Iterator[None]:
    """A database in which writes commit; its rows are flushed, which append-only rules would refuse."""
    yield
    _lift_rules()


_lifted: list[tuple[str, str]] = []


def _lift_rules() -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(
                "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND name LIKE '%append_only%'"
            )
            _lifted[:] = cursor.fetchall()
            for name, _sql in _lifted:
                cursor.execute(f"DROP TRIGGER {name}")
        else:
            cursor.execute(
                "SELECT tgname, tgrelid::regclass::text FROM pg_trigger WHERE tgname LIKE '%append_only%'"
            )
            _lifted[:] = cursor.fetchall()
            for name, table in _lifted:
                cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER {name}")


def _lay_rules() -> None:
    with connection.cursor() as cursor:
        for name, sql_or_table in _lifted:
            if connection.vendor == "sqlite":
                cursor.execute(sql_or_table)
            else:
                cursor.execute(f"ALTER TABLE {sql_or_table} ENABLE TRIGGER {name}")
    _lifted.clear()


@pytest.fixture
def own_language() -> Iterator[None]:
    """Leave the language of the last page asked for behind: a worker answers one request after another."""
    yield
    translation.deactivate()
