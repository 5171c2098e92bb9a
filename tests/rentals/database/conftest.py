"""Rows for the tests of what the database itself refuses."""

import pytest

from tests.rentals.database.rows import Rows


@pytest.fixture
def rows(db: None) -> Rows:
    """Valid rows, made when first asked for."""
    return Rows()
