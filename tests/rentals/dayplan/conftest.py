"""A day to plan, on the clock of the tests."""

from datetime import datetime

import pytest

from rentals.lib import clock
from tests.rentals.dayplan.day import Day
from tests.rentals.walk import Walk


@pytest.fixture
def day(cast: Walk, now: datetime, monkeypatch: pytest.MonkeyPatch) -> Day:
    """The cast's day."""
    monkeypatch.setattr(clock, "now", lambda: now)
    return Day(cast)
