"""The station's currency stays once there are costs of models in it."""

from django.db import migrations

from rentals.lib.rules import refuse


class Migration(migrations.Migration):
    dependencies = [("review", "0002_currency"), ("stations", "0002_currency")]

    operations = [
        refuse(
            "currency_stays_with_model_costs",
            table="stations_station",
            events="UPDATE",
            when=(
                "NEW.currency <> OLD.currency AND EXISTS "
                "(SELECT 1 FROM review_modelcost AS c WHERE c.station_id = OLD.id)"
            ),
            says="the currency stays once kit has costs",
        ),
    ]
