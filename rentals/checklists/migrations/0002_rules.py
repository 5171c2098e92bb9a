"""A version of a check list stays as it was kept."""

from django.db import migrations

from rentals.lib.rules import append_only


class Migration(migrations.Migration):
    dependencies = [("checklists", "0001_initial")]

    operations = [
        *append_only("checklists_checklist"),
    ]
