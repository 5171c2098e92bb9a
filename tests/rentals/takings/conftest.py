"""The shop of the tests of money."""

import pytest

from tests.rentals.takings.shop import Shop
from tests.rentals.walk import Walk


@pytest.fixture
def shop(cast: Walk) -> Shop:
    """A station with prices."""
    return Shop(cast)
