"""Several statements in one trip to the database's server.

On PostgreSQL a small statement costs more on its way, and in being planned, than in being done. What is
asked here is planned once for each connection and sent without waiting for the answers between (the pipeline
of psycopg): each statement is a message of its own, with its own look at the tables as ever, and only the
last is waited for. What answers nothing need not be waited for and may go along with the next trip
(:func:`going_along`). On SQLite they are asked one after another.
"""

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import Any, NamedTuple

from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper

# What this thread has told and not sent yet, where it may go along.
_told = threading.local()


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
    before = _taken()
    every = [*before, *statements]
    if len(every) == 1:
        return [_rows(_sent(connection, every[0]))][len(before) :]
    with connection.wrap_database_errors:
        with connection.connection.pipeline():
            sent = [_sent(connection, statement) for statement in every]
        return [_rows(cursor) for cursor in sent][len(before) :]


def tell(statements: Sequence[Statement]) -> None:
    """As :func:`ask`, for what answers nothing: inside :func:`going_along` it goes with the next trip."""
    waiting = _waiting()
    if waiting is None:
        ask(statements)
    else:
        waiting.extend(statements)


@contextmanager
def going_along() -> Iterator[None]:
    """Inside, what is told goes to PostgreSQL along with the next question, in its order, before anything
    else that is asked of this connection, and at the latest at the end.

    So a statement that is refused is known later than its line, and whoever is inside must let go of the
    whole transaction when anything is raised. For the inside of one transaction, where nobody is answered
    before the end.
    """
    connection = connections[DEFAULT_DB_ALIAS]
    if connection.vendor != "postgresql" or _waiting() is not None:
        yield
        return
    _told.waiting = []
    try:
        with connection.execute_wrapper(_after_what_waits):
            yield
            send_told()
    finally:
        # After an error nothing of the transaction stays, and so nothing of it is sent.
        _told.waiting = None


def send_told() -> None:
    """Sends what waits to go along, for who asks the database past Django's cursors."""
    if _waiting():
        ask([])


def _after_what_waits(
    execute: Callable[..., Any], sql: str, params: Any, many: bool, context: dict[str, Any]
) -> Any:
    """Django calls it around each statement; one of :func:`ask` finds that nothing waits."""
    send_told()
    return execute(sql, params, many, context)


def _waiting() -> list[Statement] | None:
    return getattr(_told, "waiting", None)


def _taken() -> list[Statement]:
    """What waits, which from now on waits no more."""
    waiting = _waiting()
    if not waiting:
        return []
    _told.waiting = []
    return waiting


def _asked_alone(connection: BaseDatabaseWrapper, statement: Statement) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(statement.sql, statement.params)
        return cursor.fetchall() if cursor.description else []


def _sent(connection: Any, statement: Statement) -> Any:
    """A cursor whose rows may be on their way still; Django counts and times it as any other."""
    # Django's usual cursor writes the parameters into the text, which could not be prepared.
    cursor = connection._prepare_cursor(_kind_of_cursor()(connection.connection))
    cursor.execute(statement.sql, statement.params)
    return cursor


@cache
def _kind_of_cursor() -> Any:
    # Only here: a house on SQLite reads none of psycopg.
    from psycopg import Cursor

    return Cursor


def _rows(cursor: Any) -> list[tuple[Any, ...]]:
    own = cursor.cursor  # without Django's wrapper, which looks at each attribute that is asked for
    # Whether it answers rows; its description would tell as well, and names each column for it.
    answers = own.pgresult is not None and own.pgresult.nfields
    rows: list[tuple[Any, ...]] = own.fetchall() if answers else []
    own.close()
    return rows
