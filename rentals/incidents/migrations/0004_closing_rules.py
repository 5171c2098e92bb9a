"""A day is signed and opened again in turns, and never signed while somebody is afloat."""

from django.db import migrations

from rentals.lib.rules import append_only, refuse


class Migration(migrations.Migration):
    dependencies = [("incidents", "0003_closing"), ("bookings", "0002_rules")]

    operations = [
        *append_only("incidents_closing"),
        refuse(
            "closing_turns_alternate",
            table="incidents_closing",
            events="INSERT",
            when=(
                "NEW.turn <> 1 + (SELECT COUNT(*) FROM incidents_closing AS c "
                "WHERE c.station_id = NEW.station_id AND c.day = NEW.day) "
                "OR (NEW.step = 'signed') <> (NEW.turn % 2 = 1)"
            ),
            says="signing and opening again take turns",
        ),
        refuse(
            "closing_with_nobody_afloat",
            table="incidents_closing",
            events="INSERT",
            when=(
                "NEW.step = 'signed' AND EXISTS (SELECT 1 FROM bookings_outing AS o "
                "WHERE o.station_id = NEW.station_id AND o.state = 'afloat')"
            ),
            says="a day is not signed while somebody is afloat",
        ),
    ]
