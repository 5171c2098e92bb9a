"""Names in what was told of refused late checks can be struck out while a person is being erased."""

from django.db import migrations

from rentals.lib.rules import erasable


class Migration(migrations.Migration):
    dependencies = [("privacy", "0001_rules"), ("afloat", "0006_late_rules")]

    operations = [erasable("afloat_latecheck"), erasable("afloat_latesettled")]
