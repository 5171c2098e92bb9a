"""What was told of an incident stays, and closings and reopenings take turns."""

from django.db import migrations

from rentals.lib.rules import append_only, refuse


class Migration(migrations.Migration):
    dependencies = [("incidents", "0001_initial")]

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
    ]
