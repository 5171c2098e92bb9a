"""What a device kept was ticked before it came."""

from django.db import migrations

from rentals.lib.rules import refuse


class Migration(migrations.Migration):
    dependencies = [("afloat", "0003_ticked_on_a_device")]

    operations = [
        refuse(
            "launch_check_ticked_before",
            table="afloat_launchcheck",
            events="INSERT",
            when="NEW.ticked_at IS NOT NULL AND NEW.ticked_at > NEW.at",
            says="a check was ticked before it came",
        ),
    ]
