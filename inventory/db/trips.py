"""Several statements in one trip to the database's server.

On PostgreSQL a small statement costs more on its way, and in being planned, than in being done. What is
asked here is planned once for each connection and goes as one message (the pipeline of psycopg), each
statement with its own look at the tables as ever. On SQLite they are asked one after another.
"""

from collections.abc import Sequence
from typing import Any, NamedTuple

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper


class Statement(NamedTuple):
    """SQL with its parameters; those that may be sent again and again are the same text each time."""

    sql: str
    params: Sequence[Any]


def ask(statements: Sequence[Statement]) -> list[list[tuple[Any, ...]]]:
    """The rows of each, none for one that answers no rows. What a statement raises is raised as ever."""
    connection = connections[DEFAULT_DB_ALIAS]
    if connection.vendor != "postgresql":
        return [_asked_alone(connection, statement) for statement in statements]
    connection.close_if_health_check_failed()
    connection.ensure_connection()
    if len(statements) == 1:
        return [_rows(_sent(connection, statements[0]))]
    with connection.wrap_database_errors:
        with connection.connection.pipeline():
            sent = [_sent(connection, statement) for statement in statements]
        return [_rows(cursor) for cursor in sent]


def _asked_alone(connection: BaseDatabaseWrapper, statement: Statement) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement.sql, statement.params)
        return cursor.fetchall() if cursor.description else []


def _sent(connection: Any, statement: Statement) -> Any:
    """A cursor whose rows may be on their way still; Django counts and times it as any other."""
    # Only here: a house on SQLite reads none of psycopg.
    from psycopg import Cursor

    # Django's usual cursor writes the parameters into the text, which could not be prepared.
    cursor = connection._prepare_cursor(Cursor(connection.connection))
    cursor.execute(statement.sql, statement.params)
    return cursor


def _rows(cursor: Any) -> list[tuple[Any, ...]]:
    with cursor:
        rows: list[tuple[Any, ...]] = cursor.fetchall() if cursor.description else []
        return rows
