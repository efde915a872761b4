"""One writer of the ledger at a time."""

from django.db import connection

# Any number that nothing else in this database uses.
_LEDGER_LOCK = 7_302_416


def serialize_writers() -> None:
    """Holds back other writers of the ledger until this transaction ends.

    SQLite holds its write lock from BEGIN IMMEDIATE on. On PostgreSQL, checks that are read and
    then written would race (READ COMMITTED left lots below zero), and the hash chain needs one
    order anyway, so an advisory lock makes a queue.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LEDGER_LOCK])
