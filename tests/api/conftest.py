"""A client of the API, and the clock it is served by."""

from datetime import datetime

import pytest

from rentals.lib import clock
from tests.api.client import Api
from tests.cast import Cast


@pytest.fixture
def cast(db: None, now: datetime) -> Cast:
    """Everybody and everything, made when first named."""
    return Cast(now)


@pytest.fixture
def api(cast: Cast, now: datetime, monkeypatch: pytest.MonkeyPatch) -> Api:
    """A client of nobody, on the fixed moment; `api.of(user)` is somebody's."""
    monkeypatch.setattr(clock, "now", lambda: now)
    return Api()
