"""People at home, for every test of their pages."""

from datetime import datetime

import pytest
from django.core.cache import cache

from rentals.lib import clock
from tests.rentals.home.house import House
from tests.rentals.walk import Walk


@pytest.fixture(autouse=True)
def _forget() -> None:
    """What one test looked at is not shown in the next."""
    cache.clear()


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages and tasks read the clock of the tests."""
    monkeypatch.setattr(clock, "now", lambda: now)


@pytest.fixture
def house(cast: Walk) -> House:
    """A station with an open page."""
    made = House(cast)
    made.open()
    return made
