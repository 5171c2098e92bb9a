"""Prices and tax rates never change but by a further row; no two seasons of a station share a day."""

from django.db import migrations

from rentals.lib.rules import append_only, refuse

MEETS = (
    "NEW.dropped_at IS NULL AND EXISTS (SELECT 1 FROM takings_season AS other "
    "WHERE other.station_id = NEW.station_id AND other.id <> NEW.id AND other.dropped_at IS NULL "
    "AND other.first_day <= NEW.last_day AND other.last_day >= NEW.first_day)"
)


class Migration(migrations.Migration):
    dependencies = [("takings", "0001_initial")]

    operations = [
        *append_only("takings_taxrate"),
        *append_only("takings_price"),
        refuse(
            "season_days_once",
            table="takings_season",
            events="INSERT OR UPDATE",
            when=MEETS,
            says="two seasons of a station never share a day",
        ),
    ]
