"""Rules that the database itself keeps, written once for SQLite and PostgreSQL as migration operations."""

from collections.abc import Iterable, Sequence

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState

MAX_SPAN_DAYS = 14
"""A hold or an outing is never longer, so that a look for overlaps never has to look further back."""


class Rule(Operation):
    """One named rule as plain SQL per vendor. Not reversible: a rule is lifted by a migration that says so.

    SQLite rebuilds a table to alter it and drops the table's triggers with the old one, so a migration that
    alters a guarded table must lay its rules again; a test compares the rules laid with the triggers found.
    """

    reversible = False

    def __init__(self, name: str, *, sqlite: Sequence[str], postgresql: Sequence[str]) -> None:
        self.name = name
        self.statements = {"sqlite": tuple(sqlite), "postgresql": tuple(postgresql)}

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Leave the models as they are: a rule is the database's own."""

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        """Lay the rule."""
        for statement in self.statements[schema_editor.connection.vendor]:
            # None keeps a percent sign from being read as a parameter.
            schema_editor.execute(statement, params=None)

    def describe(self) -> str:
        return f"Rule {self.name}"


def refuse(name: str, *, table: str, events: str, when: str, says: str) -> Rule:
    """Refuse rows for which `when` holds, before they are written.

    Args:
        name: of the trigger; also the constraint name a refusal carries.
        table: guarded table.
        events: `INSERT`, `UPDATE`, `DELETE`, or two of them joined by ` OR `.
        when: SQL condition over NEW and OLD that both engines read; must not be null.
        says: the sentence of the refusal.
    """
    kinds = events.split(" OR ")
    sqlite = [
        _on_sqlite(f"{name}_{kind.lower()}", f"BEFORE {kind} ON {table}", when, f"{name}: {says}")
        for kind in kinds
    ]
    function = _raising(name, when, f"{name}: {says}")
    triggers = [
        _calling(f"{name}_{kind.lower()}", f"BEFORE {kind} ON {table} FOR EACH ROW", name) for kind in kinds
    ]
    return Rule(name, sqlite=sqlite, postgresql=[function, *triggers])


def append_only(table: str) -> list[Rule]:
    """Refuse every change and removal of rows, TRUNCATE included."""
    name = f"{table}_append_only"
    says = "what is written stays; add a correction instead"
    truncated = f"{name}_truncate"
    truncate = Rule(
        truncated,
        sqlite=[],
        postgresql=[
            _raising(truncated, "true", f"{name}: {says}"),
            _calling(truncated, f"BEFORE TRUNCATE ON {table} FOR EACH STATEMENT", truncated),
        ],
    )
    return [refuse(name, table=table, events="UPDATE OR DELETE", when="1 = 1", says=says), truncate]


def laid_again(rules: Iterable[Rule]) -> list[Rule]:
    """Return rules to lay once more after a change of their table: SQLite alone has lost them with it."""
    return [Rule(rule.name, sqlite=rule.statements["sqlite"], postgresql=()) for rule in rules]


REDACTING = "EXISTS (SELECT 1 FROM audit_redaction WHERE ended_at IS NULL)"
"""Whether this transaction strikes a person's name out: no other ever sees a redaction without its end."""


def erasable(table: str) -> Rule:
    """Lay a table's append-only rule once more, letting changes through while a person is being erased.

    Removal stays refused. Names on the page are all that an erasure changes; a test compares the rest.
    """
    name, trigger = f"{table}_append_only", f"{table}_append_only_update"
    says = f"{name}: what is written stays; add a correction instead"
    laid = _on_sqlite(trigger, f"BEFORE UPDATE ON {table}", f"NOT {REDACTING}", says)
    function = _raising(name, f"TG_OP <> 'UPDATE' OR NOT {REDACTING}", says)
    return Rule(
        name,
        sqlite=[f"DROP TRIGGER IF EXISTS {trigger}", laid],
        postgresql=[function.replace("CREATE FUNCTION", "CREATE OR REPLACE FUNCTION", 1)],
    )


def no_overlap(name: str, *, table: str, key: str, live: str, says: str) -> Rule:
    """Refuse two live rows of one key whose half-open spans [starts_at, ends_at) meet.

    On PostgreSQL an exclusion constraint (int8range does without the btree_gist extension); on SQLite a
    trigger, whose look-back the length of a span bounds.
    """
    condition = live.format(row="NEW")
    clash = (
        # Every word of it stands in a migration of ours.
        f"{condition} AND EXISTS (SELECT 1 FROM {table} AS other WHERE other.{key} = NEW.{key} "  # noqa: S608
        f"AND other.id <> NEW.id AND {live.format(row='other')} "
        f"AND other.starts_at < NEW.ends_at AND other.ends_at > NEW.starts_at "
        f"AND other.starts_at > datetime(NEW.starts_at, '-{MAX_SPAN_DAYS} days'))"
    )
    sqlite = [
        _on_sqlite(f"{name}_{event.lower()}", f"BEFORE {event} ON {table}", clash, f"{name}: {says}")
        for event in ("INSERT", "UPDATE")
    ]
    exclude = (
        f"ALTER TABLE {table} ADD CONSTRAINT {name} EXCLUDE USING gist "
        f"(int8range({key}, {key}, '[]') WITH &&, tstzrange(starts_at, ends_at, '[)') WITH &&) "
        f"WHERE ({live.format(row=table)})"
    )
    return Rule(name, sqlite=sqlite, postgresql=[exclude])


def moves_only(name: str, *, table: str, moves: Iterable[tuple[str, str]], says: str) -> Rule:
    """Refuse a change of `state` that the state machine's table does not list."""
    pairs = ", ".join(f"'{old}>{new}'" for old, new in sorted(set(moves)))
    when = f"OLD.state <> NEW.state AND (OLD.state || '>' || NEW.state) NOT IN ({pairs})"
    return refuse(name, table=table, events="UPDATE", when=when, says=says)


def _on_sqlite(trigger: str, event: str, when: str, sentence: str) -> str:
    raised = f"SELECT RAISE(ABORT, '{sentence}')"
    return f"CREATE TRIGGER {trigger} {event} FOR EACH ROW WHEN {when} BEGIN {raised}; END"


def _raising(function: str, when: str, sentence: str) -> str:
    """Return a PostgreSQL trigger function that refuses under a condition, as a check constraint would."""
    raised = f"RAISE EXCEPTION '{sentence}' USING ERRCODE = 'check_violation', CONSTRAINT = '{function}'"
    body = f"IF {when} THEN {raised}; END IF; IF TG_OP = 'DELETE' THEN RETURN OLD; END IF; RETURN NEW;"
    return f"CREATE FUNCTION {function}() RETURNS trigger LANGUAGE plpgsql AS $rule$ BEGIN {body} END $rule$"


def _calling(trigger: str, event: str, function: str) -> str:
    return f"CREATE TRIGGER {trigger} {event} EXECUTE FUNCTION {function}()"
