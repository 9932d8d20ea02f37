"""The database's own refusal to change or delete an Entry, for PostgreSQL and SQLite.

SQLite loses triggers when a migration rebuilds the table, so every later migration of the table
ends with ``install`` again; a test looks that they are there.
"""

from django.apps.registry import Apps
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

TABLE = "referrals_entry"
WORDS = "an Entry is never changed or deleted"

SQLITE = [
    f"CREATE TRIGGER IF NOT EXISTS entry_never_{verb.lower()}d BEFORE {verb} ON {TABLE} "
    f"BEGIN SELECT RAISE(ABORT, '{WORDS}'); END"
    for verb in ("UPDATE", "DELETE")
]
SQLITE_AWAY = [f"DROP TRIGGER IF EXISTS entry_never_{verb}d" for verb in ("update", "delete")]
POSTGRESQL = [
    "CREATE OR REPLACE FUNCTION entry_never_changed() RETURNS trigger AS $$ "
    f"BEGIN RAISE EXCEPTION '{WORDS}'; END $$ LANGUAGE plpgsql",
    f"DROP TRIGGER IF EXISTS entry_never_changed ON {TABLE}",
    f"CREATE TRIGGER entry_never_changed BEFORE UPDATE OR DELETE ON {TABLE} "
    "FOR EACH ROW EXECUTE FUNCTION entry_never_changed()",
]
POSTGRESQL_AWAY = [
    f"DROP TRIGGER IF EXISTS entry_never_changed ON {TABLE}",
    "DROP FUNCTION IF EXISTS entry_never_changed()",
]


def install(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Put the triggers in place; for a migration."""
    _run(schema_editor, SQLITE, POSTGRESQL)


def remove(apps: Apps, schema_editor: BaseDatabaseSchemaEditor) -> None:
    """Take the triggers away; the way back of the migration."""
    _run(schema_editor, SQLITE_AWAY, POSTGRESQL_AWAY)


def _run(editor: BaseDatabaseSchemaEditor, sqlite: list[str], postgresql: list[str]) -> None:
    for statement in sqlite if editor.connection.vendor == "sqlite" else postgresql:
        editor.execute(statement)
