"""People at home, for every test of their pages."""

import pytest
from django.core.cache import cache

from tests.rentals.home.house import House
from tests.rentals.walk import Walk


@pytest.fixture(autouse=True)
def _forget() -> None:
    """What one test looked at is not shown in the next."""
    cache.clear()


@pytest.fixture
def house(cast: Walk) -> House:
    """A station with an open page."""
    made = House(cast)
    made.open()
    return made
