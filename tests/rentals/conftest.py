"""The cast of the station's tests."""

from datetime import datetime

import pytest

from tests.rentals.walk import Walk


@pytest.fixture
def cast(db: None, now: datetime) -> Walk:
    """People, shed and day, made as a test names them."""
    return Walk(now)
