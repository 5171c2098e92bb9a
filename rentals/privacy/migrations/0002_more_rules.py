"""Calls made and check lists stay as written too, but for the names of a person being erased."""

from django.db import migrations

from rentals.lib.rules import erasable


class Migration(migrations.Migration):
    dependencies = [("privacy", "0001_rules"), ("incidents", "0006_calls_rules"), ("checklists", "0002_rules")]

    operations = [erasable("incidents_callmade"), erasable("checklists_checklist")]
