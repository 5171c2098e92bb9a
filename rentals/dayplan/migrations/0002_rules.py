"""Plans move by their table; what was asked and what came of it stay as written, rigs of a list too.

A study moves by its table, and what came of it stays.
"""

from django.db import migrations

from rentals.dayplan.states import MOVES, STUDY_MOVES
from rentals.lib.rules import moves_only, refuse

ASKED = ("station_id", "day", "number", "inputs", "formulas", "aside", "asked_at")
RIG = (
    "plan_id",
    "place",
    "sail_id",
    "mast_id",
    "boom_id",
    "extension_id",
    "base_id",
    "starts_at",
    "due_at",
    "needed_at",
)
STUDY_ASKED = ("station_id", "first_day", "last_day", "days", "asked_at")


class Migration(migrations.Migration):
    dependencies = [("dayplan", "0001_initial"), ("fleet", "0002_rules")]

    operations = [
        moves_only(
            "plan_moves",
            table="dayplan_plan",
            moves=[(source.value, target.value) for (source, _event), target in MOVES.items()],
            says="a day plan in this state cannot go to that one",
        ),
        refuse(
            "plan_asked_stays",
            table="dayplan_plan",
            events="UPDATE",
            when=" OR ".join(f"NEW.{column} <> OLD.{column}" for column in ASKED),
            says="what a plan was asked stays; ask for another plan",
        ),
        refuse(
            "plan_result_stays",
            table="dayplan_plan",
            events="UPDATE",
            when="OLD.result IS NOT NULL AND (NEW.result IS NULL OR NEW.result <> OLD.result)",
            says="what came of a plan stays; ask for another plan",
        ),
        refuse(
            "rig_task_stays",
            table="dayplan_rigtask",
            events="UPDATE",
            when=" OR ".join(f"NEW.{column} <> OLD.{column}" for column in RIG),
            says="a rig of the list stays; only its tick changes",
        ),
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
            when=" OR ".join(f"NEW.{column} <> OLD.{column}" for column in STUDY_ASKED)
            + " OR OLD.result IS NOT NULL",
            says="what was asked of a study and what came of it stay; ask for another",
        ),
    ]
