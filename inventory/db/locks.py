"""One writer of the ledger at a time."""

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection

try:
    import fcntl
except ImportError:  # a system without it has one queue for each process
    fcntl = None  # type: ignore[assignment]

# Any number that nothing else in this database uses.
_LEDGER_LOCK = 7_302_416


_queue = threading.Lock()
# By process too: a lock on a file that a parent opened would be one lock for all its children.
_tickets: dict[tuple[int, str], int] = {}


@contextmanager
def queue_of_writers() -> Iterator[None]:
    """Lets the threads and processes of this machine begin their writes one after another.

    SQLite has no queue for its write lock: who finds it taken sleeps and looks again, up to a tenth of
    a second each time, and with eight threads some wait for seconds. PostgreSQL has one of its own.
    Enter it before the transaction begins. It is a courtesy and guards nothing: whoever does not queue
    still meets SQLite's own lock.
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    with _queue, _queue_of_processes():
        yield


@contextmanager
def _queue_of_processes() -> Iterator[None]:
    """The same among processes, by a lock on a file beside the database; it ends with its process."""
    database = str(connection.settings_dict["NAME"])
    if fcntl is None or ":memory:" in database or database.startswith("file:"):
        yield
        return
    owner = (os.getpid(), database)
    if owner not in _tickets:
        _tickets[owner] = os.open(f"{database}-queue", os.O_CREAT | os.O_RDWR | os.O_CLOEXEC, 0o600)
    file = _tickets[owner]
    fcntl.flock(file, fcntl.LOCK_EX)
    try:
        yield
    finally:
        fcntl.flock(file, fcntl.LOCK_UN)


def serialize_writers() -> None:
    """Holds back other writers of the ledger until this transaction ends.

    SQLite holds its write lock from BEGIN IMMEDIATE on. On PostgreSQL, checks that are read and
    then written would race (READ COMMITTED left lots below zero), and the hash chain needs one
    order anyway, so an advisory lock makes a queue.
    """
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LEDGER_LOCK])
