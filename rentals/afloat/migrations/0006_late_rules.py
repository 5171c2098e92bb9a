"""A refused late check and its settlement stay as they were written."""

from django.db import migrations

from rentals.lib.rules import append_only, refuse


class Migration(migrations.Migration):
    dependencies = [("afloat", "0005_late_checks")]

    operations = [
        *append_only("afloat_latecheck"),
        *append_only("afloat_latesettled"),
        refuse(
            "late_check_ticked_before",
            table="afloat_latecheck",
            events="INSERT",
            when="NEW.ticked_at IS NOT NULL AND NEW.ticked_at > NEW.at",
            says="a check was ticked before it came",
        ),
    ]
