"""What was told of an incident stays, and closings and reopenings take turns.

A day is signed and opened again in turns, and never signed while somebody is afloat.
What was said to whom stays on record.
"""

from django.db import migrations

from rentals.lib.rules import append_only, refuse


class Migration(migrations.Migration):
    dependencies = [("incidents", "0001_initial"), ("bookings", "0002_rules")]

    operations = [
        *append_only("incidents_incident"),
        *append_only("incidents_telling"),
        *append_only("incidents_incidentitem"),
        *append_only("incidents_followup"),
        refuse(
            "incident_turns_alternate",
            table="incidents_followup",
            events="INSERT",
            when=(
                "NEW.turn IS NOT NULL AND (NEW.turn <> 1 + (SELECT COUNT(*) FROM incidents_followup AS f "
                "WHERE f.incident_id = NEW.incident_id AND f.turn IS NOT NULL) "
                "OR (NEW.step = 'closed') <> (NEW.turn % 2 = 1))"
            ),
            says="closing and reopening take turns",
        ),
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
        *append_only("incidents_callmade"),
    ]
