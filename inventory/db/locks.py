"""One writer of the ledger at a time."""

import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from time import monotonic

from django.db import OperationalError, connection

from .trips import Statement, tell

try:
    import fcntl
except ImportError:  # a system without it has one queue for each process
    fcntl = None  # type: ignore[assignment]

# Any number that nothing else in this database uses.
_LEDGER_LOCK = 7_302_416
# The part of the patience that was spent in the queue and is not worth a word to the database.
_NOTHING = 0.05

_queue = threading.Lock()
# Whether this thread's transaction has the lock of the ledger.
_holding = threading.local()
# By process too: a lock on a file that a parent opened would be one lock for all its children.
_tickets: dict[tuple[int, str], int] = {}


def patience_ends() -> float:
    """Until when, by :func:`time.monotonic`, whoever asks now waits for another who writes.

    As long as SQLite itself would wait (``timeout`` of the settings); PostgreSQL ends its waits by itself.
    """
    return monotonic() + _patience()


def left_until(moment: float) -> float:
    """Seconds until ``moment``; 0 when it is over: then there is one more try, without waiting."""
    return min(max(moment - monotonic(), 0.0), threading.TIMEOUT_MAX)


def busy() -> OperationalError:
    """What SQLite raises when its own wait is over, for a wait that ended in the queue before it."""
    cause = sqlite3.OperationalError("database is locked")
    vars(cause)["sqlite_errorname"] = "SQLITE_BUSY"
    error = OperationalError("database is locked: others wait to write")
    error.__cause__ = cause
    return error


@contextmanager
def queue_of_writers(until: float | None = None) -> Iterator[None]:
    """Lets the threads and processes of this machine begin their writes one after another.

    SQLite has no queue for its write lock: who finds it taken sleeps and looks again, up to a tenth of
    a second each time, and with eight threads some wait for seconds. PostgreSQL has one of its own.
    Enter it before the transaction begins. It is a courtesy and guards nothing: whoever does not queue
    still meets SQLite's own lock.

    While a stranger holds that lock, nobody waits longer than ``until`` (from now on for the house's
    patience when left out): the time in the queue is taken off the time at the lock, or the last of n
    would be told after n times the patience. Raises what SQLite raises (:func:`busy`).
    """
    if connection.vendor != "sqlite" or connection.in_atomic_block:
        yield
        return
    until = patience_ends() if until is None else until
    if not _queue.acquire(timeout=left_until(until)):
        raise busy()
    try:
        with _queue_of_processes(until), _at_the_lock(until):
            yield
    finally:
        _queue.release()


@contextmanager
def _queue_of_processes(until: float) -> Iterator[None]:
    """The same among processes, by a lock on a file beside the database; it ends with its process.

    The wait for it has no end of its own, for looking again and again would lose the turn to whoever is
    awake. Each process has one thread here, and each of those goes on when its own time is over.
    """
    database = str(connection.settings_dict["NAME"])
    if fcntl is None or ":memory:" in database or database.startswith("file:"):
        yield
        return
    owner = (os.getpid(), database)
    if owner not in _tickets:
        _tickets[owner] = os.open(f"{database}-queue", os.O_CREAT | os.O_RDWR | os.O_CLOEXEC, 0o600)
    file = _tickets[owner]
    if not _has_turn(file, wait=left_until(until) > 0):
        raise busy()
    try:
        yield
    finally:
        fcntl.flock(file, fcntl.LOCK_UN)


def _has_turn(file: int, *, wait: bool) -> bool:
    try:
        fcntl.flock(file, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


@contextmanager
def _at_the_lock(until: float) -> Iterator[None]:
    """SQLite's own wait is what the queue has left of the patience."""
    left, whole = left_until(until), _patience()
    if whole - left < _NOTHING * whole:
        yield
        return
    _wait_at_most(left)
    try:
        yield
    finally:
        _wait_at_most(whole)


def _wait_at_most(seconds: float) -> None:
    """Past Django, which would count it among a page's queries."""
    connection.ensure_connection()
    connection.connection.execute(f"PRAGMA busy_timeout = {round(seconds * 1_000)}")


def _patience() -> float:
    """Seconds; 5 is what Python's own module waits when nothing is said."""
    if connection.vendor != "sqlite":
        return threading.TIMEOUT_MAX
    return float(connection.settings_dict["OPTIONS"].get("timeout", 5.0))


@contextmanager
def writers_lock() -> Iterator[None]:
    """Holds back other writers of the ledger; who asks for it again inside has it already.

    For the whole of a transaction, and for one in which no savepoint before it is rolled back to.
    """
    serialize_writers()
    _holding.depth = getattr(_holding, "depth", 0) + 1
    try:
        yield
    finally:
        _holding.depth -= 1


def serialize_writers() -> None:
    """Holds back other writers of the ledger until this transaction ends.

    SQLite holds its write lock from BEGIN IMMEDIATE on. On PostgreSQL, checks that are read and
    then written would race (READ COMMITTED left lots below zero), and the hash chain needs one
    order anyway, so an advisory lock makes a queue.
    """
    if connection.vendor == "postgresql" and not getattr(_holding, "depth", 0):
        # What is asked after it looks at the tables after it, though it be on the same way.
        tell([Statement("SELECT pg_advisory_xact_lock(%s)", [_LEDGER_LOCK])])
