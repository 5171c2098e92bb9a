"""A study moves by its table, and what came of it stays."""

from django.db import migrations

from rentals.dayplan.states import STUDY_MOVES
from rentals.lib.rules import moves_only, refuse

ASKED = ("station_id", "first_day", "last_day", "days", "asked_at")


class Migration(migrations.Migration):
    dependencies = [("dayplan", "0003_study")]

    operations = [
        moves_only(
            "study_moves",
            table="dayplan_study",
            moves=[(source.value, target.value) for source, target in sorted(STUDY_MOVES)],
            says="a study in this state cannot go to that one",
        ),
        refuse(
            "study_stays",
            table="dayplan_study",
            events="UPDATE",
            when=" OR ".join(f"NEW.{column} <> OLD.{column}" for column in ASKED) + " OR OLD.result IS NOT NULL",
            says="what was asked of a study and what came of it stay; ask for another",
        ),
    ]
