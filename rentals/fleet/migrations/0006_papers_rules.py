"""A price comes with its currency."""

from django.db import migrations

from rentals.lib.rules import refuse


class Migration(migrations.Migration):
    dependencies = [("fleet", "0005_papers")]

    operations = [
        refuse(
            "item_price_has_currency",
            table="fleet_item",
            events="INSERT OR UPDATE",
            when=(
                "(NEW.price IS NULL) <> (NEW.currency IS NULL) "
                "OR (NEW.price IS NOT NULL AND (NEW.price < 0 OR length(NEW.currency) <> 3))"
            ),
            says="a price is not below nothing and comes with its currency",
        ),
    ]
