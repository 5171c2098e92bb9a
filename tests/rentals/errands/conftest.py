"""Rows for tries around the Python code."""

from tests.rentals.database.conftest import rows

__all__ = ["rows"]
