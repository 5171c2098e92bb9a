"""The clock of the review's tests."""

from datetime import datetime

import pytest

from rentals.lib import clock


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)
