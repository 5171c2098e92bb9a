"""The currency is the station's alone: terms have none of their own, and every entry is in it."""

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from rentals.lib.rules import Rule, refuse


def hand_over(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Give each station the currency of its terms."""
    for terms in apps.get_model("takings", "Terms").objects.all():
        apps.get_model("stations", "Station").objects.filter(pk=terms.station_id).update(
            currency=terms.currency
        )


def instead(rule: Rule, *, sqlite: list[str], postgresql: list[str]) -> Rule:
    """Return a rule that takes the place of the one of its name, once that is out of the way."""
    function, *triggers = rule.statements["postgresql"]
    function = function.replace("CREATE FUNCTION", "CREATE OR REPLACE FUNCTION", 1)
    return Rule(
        rule.name,
        sqlite=[*sqlite, *rule.statements["sqlite"]],
        postgresql=[*postgresql, function, *triggers],
    )


ENTRY = refuse(
    "entry_in_the_currency_of_the_station",
    table="takings_ledgerentry",
    events="INSERT",
    when=(
        "NOT EXISTS (SELECT 1 FROM stations_station AS s "
        "WHERE s.id = NEW.station_id AND s.currency = NEW.currency)"
    ),
    says="a station has one currency",
)
STAYS = refuse(
    "currency_stays",
    table="stations_station",
    events="UPDATE",
    when=(
        "NEW.currency <> OLD.currency AND EXISTS "
        "(SELECT 1 FROM takings_ledgerentry AS e WHERE e.station_id = OLD.id)"
    ),
    says="the currency stays once money was taken",
)


class Migration(migrations.Migration):
    dependencies = [("takings", "0004_cancelling_rules"), ("stations", "0002_currency")]

    operations = [
        migrations.RunPython(hand_over, migrations.RunPython.noop),
        instead(
            ENTRY,
            sqlite=["DROP TRIGGER entry_in_the_currency_of_the_station_insert"],
            postgresql=["DROP TRIGGER entry_in_the_currency_of_the_station_insert ON takings_ledgerentry"],
        ),
        instead(
            STAYS,
            sqlite=["DROP TRIGGER currency_stays_update"],
            postgresql=["DROP TRIGGER currency_stays_update ON takings_terms"],
        ),
        migrations.RemoveConstraint("terms", "terms_currency"),
        migrations.RemoveField("terms", "currency"),
    ]
