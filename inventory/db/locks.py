"""One writer of the ledger at a time."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection

# Any number that nothing else in this database uses.
_LEDGER_LOCK = 7_302_416


_queue = threading.Lock()


@contextmanager
def queue_of_writers() -> Iterator[None]:
    """Lets the threads of this process begin their writes one after another.

    SQLite has no queue for its write lock: who finds it taken sleeps and looks again, up to a tenth of
    a second each time, and with eight threads some wait for seconds. PostgreSQL has one of its own.
    Enter it before the transaction begins.
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    with _queue:
        yield


def serialize_writers() -> None:
    """Holds back other writers of the ledger until this transaction ends.

    SQLite holds its write lock from BEGIN IMMEDIATE on. On PostgreSQL, checks that are read and
    then written would race (READ COMMITTED left lots below zero), and the hash chain needs one
    order anyway, so an advisory lock makes a queue.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LEDGER_LOCK])
