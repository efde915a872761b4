"""What the database itself enforces: append-only tables, and triggers that keep caches.

A trigger is declared beside the model it guards and installed by a migration with
:class:`InstallTriggers`. Django's table rebuild on SQLite silently drops every trigger of the
rebuilt table, so the system check in :mod:`inventory.db.checks` compares what is declared with
what is there, and a migration that alters such a table must install again at its end.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation


@dataclass(frozen=True, slots=True)
class Trigger:
    """One trigger in both dialects.

    ``sqlite`` and ``postgresql`` are lists of statements; on PostgreSQL the function comes first.
    """

    name: str
    table: str
    sqlite: tuple[str, ...]
    postgresql: tuple[str, ...]


DECLARED: dict[str, Trigger] = {}


def declare(*triggers: Trigger) -> None:
    """Makes the triggers known to the check and to :class:`InstallTriggers`."""
    for trigger in triggers:
        DECLARED[trigger.name] = trigger


def append_only(table: str, *, columns: Iterable[str] = ()) -> list[Trigger]:
    """Triggers that refuse DELETE on ``table`` and UPDATE of ``columns`` (of any, when empty).

    PostgreSQL also refuses TRUNCATE. The refusal is an integrity error (SQLSTATE 23514), so that
    Django raises :class:`django.db.IntegrityError` on both databases.
    """
    listed = ", ".join(f'"{column}"' for column in columns)
    of_columns = f" OF {listed}" if listed else ""
    message = f"{table} is append-only: correct it with a new row"
    function = f"{table}_refuse"
    triggers = []
    for action in ("update", "delete"):
        name = f"{table}_no_{action}"
        what = f"UPDATE{of_columns}" if action == "update" else "DELETE"
        triggers.append(
            Trigger(
                name=name,
                table=table,
                sqlite=(
                    f'CREATE TRIGGER "{name}" BEFORE {what} ON "{table}" '
                    f"BEGIN SELECT RAISE(ABORT, '{message}'); END",
                ),
                postgresql=(
                    f'CREATE OR REPLACE FUNCTION "{function}"() RETURNS trigger LANGUAGE plpgsql AS '
                    f"$$ BEGIN RAISE EXCEPTION '{message}' USING ERRCODE = '23514'; END $$",
                    f'CREATE TRIGGER "{name}" BEFORE {what} ON "{table}" '
                    f'FOR EACH ROW EXECUTE FUNCTION "{function}"()',
                ),
            )
        )
    truncate = f"{table}_no_truncate"
    triggers.append(
        Trigger(
            name=truncate,
            table=table,
            sqlite=(),
            postgresql=(
                f'CREATE TRIGGER "{truncate}" BEFORE TRUNCATE ON "{table}" '
                f'FOR EACH STATEMENT EXECUTE FUNCTION "{function}"()',
            ),
        )
    )
    return triggers


def install(connection: BaseDatabaseWrapper, names: Iterable[str]) -> None:
    """Creates the named triggers, replacing any that are there."""
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        for name in names:
            _drop(cursor, connection.vendor, DECLARED[name])
            for statement in getattr(DECLARED[name], connection.vendor):
                cursor.execute(statement)


def remove(connection: BaseDatabaseWrapper, names: Iterable[str]) -> None:
    """Drops the named triggers; for tests that must empty tables."""
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        for name in names:
            _drop(cursor, connection.vendor, DECLARED[name])


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of declared triggers whose table exists but which are not in the database."""
    catalogue = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'",
    }[connection.vendor]
    with connection.cursor() as cursor:
        cursor.execute(catalogue)
        present = {row[0] for row in cursor.fetchall()}
    tables = set(connection.introspection.table_names())
    return sorted(
        trigger.name
        for trigger in DECLARED.values()
        if getattr(trigger, connection.vendor) and trigger.table in tables and trigger.name not in present
    )


def _drop(cursor: Any, vendor: str, trigger: Trigger) -> None:
    on_table = f' ON "{trigger.table}"' if vendor == "postgresql" else ""
    cursor.execute(f'DROP TRIGGER IF EXISTS "{trigger.name}"{on_table}')


class InstallTriggers(Operation):
    """Migration operation: installs declared triggers; reversed, it drops them."""

    reversible = True
    reduces_to_sql = False

    def __init__(self, *names: str) -> None:
        self.names = names

    def state_forwards(self, app_label: str, state: Any) -> None:
        """Triggers are no part of Django's model state."""

    def database_forwards(
        self, app_label: str, schema_editor: BaseDatabaseSchemaEditor, from_state: Any, to_state: Any
    ) -> None:
        install(connections[schema_editor.connection.alias], self.names)

    def database_backwards(
        self, app_label: str, schema_editor: BaseDatabaseSchemaEditor, from_state: Any, to_state: Any
    ) -> None:
        remove(connections[schema_editor.connection.alias], self.names)

    def describe(self) -> str:
        return f"Installs the triggers {', '.join(self.names)}"
