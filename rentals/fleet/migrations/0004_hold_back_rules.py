"""What holds an item back is kept, lifted once, and keeps the item from being given out."""

from django.db import migrations

from rentals.lib.rules import refuse


class Migration(migrations.Migration):
    dependencies = [("fleet", "0003_hold_back")]

    operations = [
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
    ]
