"""What a device kept was ticked before it came."""

from django.db import migrations

from rentals.lib.rules import refuse


class Migration(migrations.Migration):
    dependencies = [("bench", "0005_currency_rules")]

    operations = [
        refuse(
            "return_check_ticked_before",
            table="bench_returncheck",
            events="INSERT",
            when="NEW.ticked_at IS NOT NULL AND NEW.ticked_at > NEW.at",
            says="a check was ticked before it came",
        ),
    ]
