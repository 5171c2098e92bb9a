"""The journal is never changed."""

from django.db import migrations

from rentals.lib.rules import append_only


class Migration(migrations.Migration):
    dependencies = [("audit", "0001_initial")]

    operations = [
        *append_only("audit_entry"),
    ]
