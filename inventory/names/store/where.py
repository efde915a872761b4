"""Where the names of a release are kept, and how a new store comes to be: the whole or nothing."""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from django.conf import settings
from django.db import connection, transaction

from .postgresql import PostgresTables
from .schema import TABLES, Asked, Written
from .sqlite import SqliteReader, SqliteWriter

_PART = "loading.part"


class LoadRunning(Exception):
    """Another process loads a backbone at this moment."""


def reader(release_id: int, fingerprint: str) -> Asked:
    """The store of a release, to be asked. Raises :class:`.sqlite.StoreMissing`."""
    if connection.vendor == "postgresql":
        return PostgresTables(release_id)
    return SqliteReader(_file(release_id, fingerprint))


def written(
    fill: Callable[[Written], None],
    *,
    fingerprint: str,
    create: Callable[[], int],
    complete: Callable[[int], None],
) -> int:
    """Fills a new store and registers its release, in one; the release's number.

    ``create`` makes the release's row and answers its number, ``complete`` says there what was filled.
    PostgreSQL does all in one transaction, so a load that is killed leaves nothing. A SQLite file is
    written under another name, outside any transaction of the main database, and gets its own in the
    transaction that registers it; what a killed load left is overwritten by the next.
    """
    if connection.vendor == "postgresql":
        with transaction.atomic():
            _lock_postgresql()
            release_id = create()
            tables = PostgresTables(release_id)
            fill(tables)
            tables.finish()
            complete(release_id)
        return release_id
    folder = _folder()
    folder.mkdir(parents=True, exist_ok=True)
    with _locked(folder):
        part = folder / _PART
        writer = SqliteWriter(part)
        try:
            fill(writer)
            writer.finish()
            with transaction.atomic():
                release_id = create()
                complete(release_id)
                part.replace(_file(release_id, fingerprint))
        finally:
            writer.close()
            part.unlink(missing_ok=True)
    return release_id


def remove(release_id: int, fingerprint: str) -> None:
    """Takes a release's names away."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            for table in TABLES:
                cursor.execute(f"DROP TABLE IF EXISTS backbone_{int(release_id)}_{table}")
    else:
        _file(release_id, fingerprint).unlink(missing_ok=True)


def _folder() -> Path:
    return Path(settings.BACKBONE_FOLDER)


def _file(release_id: int, fingerprint: str) -> Path:
    # With the fingerprint, for two houses may keep their data in one folder and both count from 1.
    return _folder() / f"{release_id}-{fingerprint[:16]}.sqlite3"


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    """One load at a time; the lock ends with the process that holds it, however it ends."""
    lock = sqlite3.connect(folder / "load.lock", timeout=0, isolation_level=None)
    try:
        lock.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError as error:
        raise LoadRunning(f"another load is writing to {folder}; wait until it has ended") from error
    else:
        yield
    finally:
        lock.close()


def _lock_postgresql() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(hashtext('tidetally backbone load'))")
        if not cursor.fetchone()[0]:
            raise LoadRunning("another load is writing to this database; wait until it has ended")
