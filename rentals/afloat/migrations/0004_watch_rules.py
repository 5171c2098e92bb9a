"""What was raised, taken on, told again, seen and counted stays as it was written."""

from django.db import migrations

from rentals.lib.rules import append_only, laid_again


class Migration(migrations.Migration):
    dependencies = [("afloat", "0003_watch")]

    operations = [
        *laid_again(append_only("afloat_phasechange")),
        *append_only("afloat_acknowledgement"),
        *append_only("afloat_escalation"),
        *append_only("afloat_sighting"),
        *append_only("afloat_headcount"),
        *append_only("afloat_logcorrection"),
    ]
