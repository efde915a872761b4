"""Reading what belongs together: a figure and its sum, a balance and the flows that lead to it."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

_INSIDE = "_tidetally_one_moment"


@contextmanager
def one_moment() -> Iterator[None]:
    """What is read inside is the database of one moment, and nobody who writes is kept waiting.

    On PostgreSQL one transaction, REPEATABLE READ and READ ONLY, which a copy for reports takes too. On
    SQLite one deferred transaction of a reader. Django is not told: it would begin IMMEDIATE on SQLite and
    hold the writers up, and what is read in a transaction of its own is not remembered. So no
    ``transaction.atomic`` fits inside. Inside another, or a transaction of the caller's, it is that one's
    moment.
    """
    connection = connections["default"]
    if connection.in_atomic_block or connection.__dict__.get(_INSIDE):
        yield
        return
    begin = "ISOLATION LEVEL REPEATABLE READ READ ONLY" if connection.vendor == "postgresql" else "DEFERRED"
    connection.ensure_connection()
    begun_on = connection.connection
    _say(connection, f"BEGIN {begin}")
    connection.__dict__[_INSIDE] = True
    try:
        yield
    finally:
        del connection.__dict__[_INSIDE]
        # One that broke was let go of meanwhile, and its transaction with it.
        if connection.connection is begun_on:
            _say(connection, "ROLLBACK")


def _say(connection: BaseDatabaseWrapper, words: str) -> None:
    """Not through a cursor of Django's, which counts what is asked: this asks nothing."""
    with connection.wrap_database_errors:
        connection.connection.execute(words)
