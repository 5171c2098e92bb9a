"""A rule for calling off stays as it was set; a fee for it is charged once; stored kit is fetched once."""

from django.db import migrations

from rentals.lib.rules import append_only, erasable, laid_again, refuse

STANDS = (
    "EXISTS (SELECT 1 FROM takings_charge AS c WHERE c.outing_id = NEW.outing_id "
    "AND c.purpose = NEW.purpose AND c.reverses_id IS NULL AND NOT EXISTS "
    "(SELECT 1 FROM takings_charge AS r WHERE r.reverses_id = c.id))"
)
CHARGE = [
    *append_only("takings_charge"),
    erasable("takings_charge"),
    refuse(
        "charge_taken_back_whole",
        table="takings_charge",
        events="INSERT",
        when=(
            "NEW.reverses_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM takings_charge AS c "
            "WHERE c.id = NEW.reverses_id AND c.reverses_id IS NULL AND c.party_id = NEW.party_id "
            "AND c.gross_minor = -NEW.gross_minor AND c.tax_minor = -NEW.tax_minor "
            "AND c.currency = NEW.currency)"
        ),
        says="a charge is taken back whole, once",
    ),
    refuse(
        "outing_charged_once",
        table="takings_charge",
        events="INSERT",
        when=(
            "NEW.reverses_id IS NULL AND NEW.outing_id IS NOT NULL AND NEW.purpose IN ('time', 'late') "
            f"AND {STANDS}"
        ),
        says="the time of an outing and its late fee are charged once",
    ),
]
"""What the table of charges had before a purpose was added, which SQLite has lost with it."""


class Migration(migrations.Migration):
    # Privacy has loosened what is append-only for erasures; here it is laid again as it left it.
    dependencies = [("takings", "0003_cancelling"), ("privacy", "0001_rules")]

    operations = [
        *laid_again(CHARGE),
        *append_only("takings_cancelrule"),
        erasable("takings_cancelrule"),
        refuse(
            "called_off_charged_once",
            table="takings_charge",
            events="INSERT",
            when=(
                "NEW.reverses_id IS NULL AND NEW.outing_id IS NOT NULL AND NEW.purpose = 'cancel' "
                f"AND {STANDS}"
            ),
            says="the fee for an outing called off is charged once",
        ),
        refuse(
            "stored_is_fetched_once",
            table="takings_stored",
            events="UPDATE",
            when=(
                "OLD.fetched_at IS NOT NULL OR OLD.party_id <> NEW.party_id OR OLD.charge_id <> NEW.charge_id "
                "OR OLD.first_day <> NEW.first_day OR OLD.last_day <> NEW.last_day"
            ),
            says="what is stored is fetched once and changes in nothing else",
        ),
    ]
