"""No item is held twice, and an item moves only as its table of states allows."""

from django.db import migrations

from rentals.fleet.states import MOVES
from rentals.lib.rules import moves_only, no_overlap


class Migration(migrations.Migration):
    dependencies = [("fleet", "0001_initial")]

    operations = [
        no_overlap(
            "item_held_once",
            table="fleet_hold",
            key="item_id",
            live="{row}.live",
            says="an item is held once at a time",
        ),
        moves_only(
            "item_moves",
            table="fleet_item",
            moves=[(source.value, target.value) for (source, _event), target in MOVES.items()],
            says="an item in this state cannot go to that one",
        ),
    ]
