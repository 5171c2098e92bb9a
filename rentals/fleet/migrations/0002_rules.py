"""No item is held twice, and an item moves only as its table of states allows.

What holds an item back is kept, lifted once, and keeps the item from being given out.
A price comes with its currency.
"""

from django.db import migrations

from rentals.fleet.states import MOVES
from rentals.lib.rules import moves_only, no_overlap, refuse


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
        refuse(
            "no_held_back_given_out",
            table="fleet_item",
            events="UPDATE",
            when=(
                "NEW.state <> OLD.state AND NEW.state IN ('ready', 'rigged', 'issued') AND EXISTS "
                "(SELECT 1 FROM fleet_holdback AS h WHERE h.item_id = NEW.id AND h.lifted_at IS NULL)"
            ),
            says="an item that is held back is not given out",
        ),
        refuse(
            "hold_back_stays",
            table="fleet_holdback",
            events="UPDATE",
            when=(
                "OLD.lifted_at IS NOT NULL OR NEW.item_id <> OLD.item_id OR NEW.cause <> OLD.cause "
                "OR NEW.subject <> OLD.subject OR NEW.since <> OLD.since"
            ),
            says="what held an item back stays as written; it is lifted once",
        ),
        refuse(
            "hold_back_is_kept",
            table="fleet_holdback",
            events="DELETE",
            when="1 = 1",
            says="what held an item back stays on its record",
        ),
        refuse(
            "item_price_has_currency",
            table="fleet_item",
            events="INSERT OR UPDATE",
            when=(
                "(NEW.price IS NULL) <> (NEW.currency IS NULL) "
                "OR (NEW.price IS NOT NULL AND (NEW.price < 0 OR length(NEW.currency) <> 3))"
            ),
            says="a price is not below nothing and comes with its currency",
        ),
    ]
