"""No item with an open fault is given out; return checks and wear never change; jobs move by their table.

Wear is weighed, and what rigs stood in never changes.
Inspections are never changed.
Work on a job is never changed; what can hurt is released by another than the one who mended it.
"""

from django.db import migrations

from rentals.bench.states import MOVES
from rentals.lib.rules import append_only, moves_only, refuse

SECOND_PERSON_KINDS = "'mast', 'boom', 'base', 'extension', 'harness', 'buoyancy_aid'"


class Migration(migrations.Migration):
    dependencies = [("bench", "0001_initial"), ("fleet", "0002_rules")]

    operations = [
        *append_only("bench_returncheck"),
        *append_only("bench_returnline"),
        *append_only("bench_wearposting"),
        moves_only(
            "job_moves",
            table="bench_job",
            moves=[(source.value, target.value) for (source, _event), target in MOVES.items()],
            says="a bench job in this state cannot go to that one",
        ),
        refuse(
            "no_fault_given_out",
            table="fleet_item",
            events="UPDATE",
            when=(
                "NEW.state <> OLD.state AND NEW.state IN ('ready', 'rigged', 'issued') AND EXISTS "
                "(SELECT 1 FROM bench_job AS j WHERE j.item_id = NEW.id AND j.state IN ('open', 'mended'))"
            ),
            says="an item with an open fault is not given out",
        ),
        *append_only("bench_rigwear"),
        refuse(
            "wear_is_weighed",
            table="bench_wearposting",
            events="INSERT",
            when="NEW.weighted_s IS NULL OR NEW.salt IS NULL",
            says="wear says what it weighs and in which water",
        ),
        *append_only("bench_inspection"),
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
