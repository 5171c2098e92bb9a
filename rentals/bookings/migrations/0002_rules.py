"""A rider has one outing at a time; outings move as their table allows; kit is out only when it was issued."""

from django.db import migrations

from rentals.bookings.states import MOVES
from rentals.lib.rules import moves_only, no_overlap, refuse


class Migration(migrations.Migration):
    dependencies = [("bookings", "0001_initial"), ("fleet", "0002_rules")]

    operations = [
        no_overlap(
            "rider_out_once",
            table="bookings_outing",
            key="rider_id",
            live="{row}.state NOT IN ('cancelled', 'no_show')",
            says="a rider has one outing at a time",
        ),
        moves_only(
            "outing_moves",
            table="bookings_outing",
            moves=[(source.value, target.value) for (source, _event), target in MOVES.items()],
            says="an outing in this state cannot go to that one",
        ),
        refuse(
            "kit_out_is_issued",
            table="bookings_kitpart",
            events="INSERT OR UPDATE",
            when=(
                "NEW.issued_at IS NOT NULL AND NEW.returned_at IS NULL AND NEW.dropped_at IS NULL AND NOT EXISTS "
                "(SELECT 1 FROM fleet_item AS i WHERE i.id = NEW.item_id AND i.state = 'issued')"
            ),
            says="only an item in state issued is out",
        ),
        refuse(
            "kit_held_for_its_item",
            table="bookings_kitpart",
            events="INSERT OR UPDATE",
            when="NOT EXISTS (SELECT 1 FROM fleet_hold AS h WHERE h.id = NEW.hold_id AND h.item_id = NEW.item_id)",
            says="the hold is on another item",
        ),
    ]
