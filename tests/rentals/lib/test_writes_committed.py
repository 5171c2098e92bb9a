"""Writes outside the transaction of a test, where they really commit."""

import pytest
from django.db import transaction

from rentals.lib.writes import NotInWrite
from rentals.people.models import User
from tests.rentals.lib.test_writes import hire, keep

pytestmark = pytest.mark.usefixtures("committing")


def test_a_helper_refuses_to_run_outside_a_write() -> None:
    with pytest.raises(NotInWrite, match="keep"):
        keep("ida")

    assert not User.objects.exists()


def test_what_a_write_kept_is_committed_when_it_returns() -> None:
    hire("ida")

    assert not transaction.get_connection().in_atomic_block
    assert User.objects.filter(username="ida").exists()
