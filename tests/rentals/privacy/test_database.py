"""No append-only table is forgotten: in each that can hold a name, a name can be struck out."""

import pytest
from django.apps import apps
from django.db import connection

from rentals.privacy.queries import our_models, text_fields

CHANGES = {
    "sqlite": "SELECT tbl_name FROM sqlite_master WHERE type = 'trigger' AND name LIKE '%append_only_update' "
    "AND sql NOT LIKE '%audit_redaction%'",
    "postgresql": "SELECT t.tgrelid::regclass::text FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid "
    "WHERE t.tgname LIKE '%append_only_update' AND p.prosrc NOT LIKE '%audit_redaction%'",
}


@pytest.mark.both_engines
def test_every_append_only_table_with_words_is_erasable(db: None) -> None:
    """If this fails, lay `erasable(table)` in a migration of privacy that follows the table's rules."""
    with connection.cursor() as cursor:
        cursor.execute(CHANGES[connection.vendor])
        closed = {table for (table,) in cursor.fetchall()}
    wordy = {model._meta.db_table for model in our_models() if any(text_fields(model))}

    assert closed & wordy == set()


def test_every_table_of_ours_is_looked_at(db: None) -> None:
    ours = {model._meta.db_table for model in our_models()}

    for app in ("audit", "people", "bookings", "home", "mail", "dayplan", "rigs", "afloat", "bench"):
        assert {model._meta.db_table for model in apps.get_app_config(app).get_models()} <= ours
    assert "home_guest_riders" in ours
