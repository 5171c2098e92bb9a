"""No item with an open fault is given out; return checks and wear never change; jobs move by their table."""

from django.db import migrations

from rentals.bench.states import MOVES
from rentals.lib.rules import append_only, moves_only, refuse


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
    ]
