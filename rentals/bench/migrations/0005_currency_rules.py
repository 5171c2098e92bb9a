"""What the bench notes as cost is in the station's currency, which stays once there is any."""

from django.db import migrations

from rentals.lib.rules import refuse


class Migration(migrations.Migration):
    dependencies = [("bench", "0004_currency"), ("fleet", "0002_rules"), ("stations", "0002_currency")]

    operations = [
        refuse(
            "job_line_in_the_currency_of_the_station",
            table="bench_jobline",
            events="INSERT",
            when=(
                "NEW.currency <> '' AND NOT EXISTS (SELECT 1 FROM bench_job AS j "
                "JOIN fleet_item AS i ON i.id = j.item_id JOIN stations_station AS s ON s.id = i.station_id "
                "WHERE j.id = NEW.job_id AND s.currency = NEW.currency)"
            ),
            says="a station has one currency",
        ),
        refuse(
            "currency_stays_with_job_costs",
            table="stations_station",
            events="UPDATE",
            when=(
                "NEW.currency <> OLD.currency AND EXISTS (SELECT 1 FROM bench_jobline AS l "
                "JOIN bench_job AS j ON j.id = l.job_id JOIN fleet_item AS i ON i.id = j.item_id "
                "WHERE i.station_id = OLD.id AND l.currency <> '')"
            ),
            says="the currency stays once the bench noted costs",
        ),
    ]
