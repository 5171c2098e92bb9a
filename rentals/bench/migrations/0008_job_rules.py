"""Work on a job is never changed; what can hurt is released by another than the one who mended it."""

from django.db import migrations

from rentals.lib.rules import append_only, refuse

SECOND_PERSON_KINDS = "'mast', 'boom', 'base', 'extension', 'harness', 'buoyancy_aid'"


class Migration(migrations.Migration):
    dependencies = [("bench", "0007_jobs_and_recalls"), ("fleet", "0005_papers")]

    operations = [
        *append_only("bench_jobline"),
        refuse(
            "released_by_another",
            table="bench_job",
            events="INSERT OR UPDATE",
            when=(
                "NEW.state = 'released' AND COALESCE(NEW.finished_by_id, -1) = COALESCE(NEW.mended_by_id, -2) "
                "AND EXISTS (SELECT 1 FROM fleet_item AS i JOIN fleet_itemmodel AS m ON m.id = i.model_id "
                f"WHERE i.id = NEW.item_id AND m.kind IN ({SECOND_PERSON_KINDS}))"
            ),
            says="a second person releases what can hurt",
        ),
    ]
