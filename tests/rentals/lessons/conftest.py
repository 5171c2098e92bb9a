"""A school, on the clock of the tests."""

from datetime import datetime

import pytest

from rentals.lib import clock
from tests.rentals.lessons.school import School
from tests.rentals.walk import Walk


@pytest.fixture
def school(cast: Walk, now: datetime, monkeypatch: pytest.MonkeyPatch) -> School:
    """The cast's school."""
    monkeypatch.setattr(clock, "now", lambda: now)
    return School(cast)
