"""Nobody is afloat without a passed launch check for the kit they are on; logs and checks never change.

What was raised, taken on, told again, seen and counted stays as it was written.
"""

from django.db import migrations

from rentals.lib.rules import append_only, refuse


class Migration(migrations.Migration):
    dependencies = [("afloat", "0001_initial"), ("bookings", "0002_rules")]

    operations = [
        *append_only("afloat_launchcheck"),
        *append_only("afloat_phasechange"),
        *append_only("afloat_beachlog"),
        refuse(
            "afloat_needs_passed_check",
            table="bookings_outing",
            events="INSERT OR UPDATE",
            when=(
                "NEW.state IN ('cleared', 'afloat') AND NOT EXISTS (SELECT 1 FROM afloat_launchcheck AS c "
                "WHERE c.outing_id = NEW.id AND c.kit_no = NEW.kit_no AND c.passed)"
            ),
            says="a launch check for this kit must have passed",
        ),
        *append_only("afloat_acknowledgement"),
        *append_only("afloat_escalation"),
        *append_only("afloat_sighting"),
        *append_only("afloat_headcount"),
        *append_only("afloat_logcorrection"),
    ]
