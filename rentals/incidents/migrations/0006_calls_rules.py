"""What was said to whom stays on record."""

from django.db import migrations

from rentals.lib.rules import append_only


class Migration(migrations.Migration):
    dependencies = [("incidents", "0005_calls")]

    operations = [*append_only("incidents_callmade")]
