"""Inspections are never changed."""

from django.db import migrations

from rentals.lib.rules import append_only


class Migration(migrations.Migration):
    dependencies = [("bench", "0005_inspections")]

    operations = [*append_only("bench_inspection")]
