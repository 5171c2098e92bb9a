"""Errands move by their table; what was asked for and by whom stays."""

from django.db import migrations

from rentals.errands.states import MOVES
from rentals.lib.rules import moves_only, refuse

ASKED = ("station_id", "kind", "made_by_id", "asked_at")


class Migration(migrations.Migration):
    dependencies = [("errands", "0001_initial")]

    operations = [
        moves_only(
            "errand_moves",
            table="errands_errand",
            moves=[(source.value, target.value) for source, target in sorted(MOVES)],
            says="work in this state cannot go to that one",
        ),
        refuse(
            "errand_stays",
            table="errands_errand",
            events="UPDATE",
            when=" OR ".join(f"NEW.{column} <> OLD.{column}" for column in ASKED),
            says="what was asked for stays; ask for something else",
        ),
    ]
