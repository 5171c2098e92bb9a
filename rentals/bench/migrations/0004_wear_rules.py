"""Wear is weighed, and what rigs stood in never changes."""

from django.db import migrations

from rentals.lib.rules import append_only, refuse


class Migration(migrations.Migration):
    dependencies = [("bench", "0003_wear")]

    operations = [
        *append_only("bench_rigwear"),
        refuse(
            "wear_is_weighed",
            table="bench_wearposting",
            events="INSERT",
            when="NEW.weighted_s IS NULL OR NEW.salt IS NULL",
            says="wear says what it weighs and in which water",
        ),
    ]
