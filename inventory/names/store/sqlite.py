"""A release's names in a SQLite file of their own, beside the main database."""

import json
import os
import sqlite3
import threading
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from .schema import INDEXES, KEY_ONLY, LAYOUT, TABLES, columns

_WORDS = {"each": "json_each(?) AS j", "pairs": "json_each(?) AS j"}
_A, _B = "json_extract(j.value, '$[0]')", "json_extract(j.value, '$[1]')"
_open = threading.local()


class StoreMissing(Exception):
    """A release whose names are not where they should be; ``str()`` says what to do."""


class SqliteFile:
    """What the reading and the writing of a file share."""

    a = _A

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def select(self, sql: str, *lists: Sequence[Any]) -> list[tuple[Any, ...]]:
        """See :class:`.schema.Asked`."""
        if not all(lists):
            return []
        return self._connection.execute(_filled(sql), [json.dumps(values) for values in lists]).fetchall()


class SqliteReader(SqliteFile):
    """A finished file, opened for reading only; each thread has a connection of its own."""

    def __init__(self, path: Path) -> None:
        super().__init__(_connection(path))


class SqliteWriter(SqliteFile):
    """A new file. Not safe against a crash while it is written, so it bears another name until then."""

    def __init__(self, path: Path) -> None:
        path.unlink(missing_ok=True)
        self._path = path
        super().__init__(sqlite3.connect(path, isolation_level=None))
        for pragma in (
            "journal_mode=OFF", "synchronous=OFF", "locking_mode=EXCLUSIVE", "cache_size=-32000",
            "temp_store=FILE", "threads=2", f"user_version={LAYOUT}",
        ):  # fmt: skip
            self._connection.execute(f"PRAGMA {pragma}")

    def create(self, table: str) -> None:
        """See :class:`.schema.Written`."""
        end = " WITHOUT ROWID" if table in KEY_ONLY else ""
        self._connection.execute(f"CREATE TABLE {table} ({TABLES[table]}){end}")

    def insert(self, table: str, rows: Iterable[Sequence[Any]]) -> None:
        """See :class:`.schema.Written`."""
        names = columns(table)
        marks = ", ".join("?" * len(names))
        self._connection.execute("BEGIN")
        self._connection.executemany(f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks})", rows)
        self._connection.execute("COMMIT")

    def index(self, name: str) -> None:
        """See :class:`.schema.Written`."""
        self._connection.execute(f"CREATE INDEX {name} ON {INDEXES[name]}")

    def run(self, sql: str) -> int:
        """See :class:`.schema.Written`."""
        return self._connection.execute(_filled(sql)).rowcount

    def drop(self, table: str) -> None:
        """See :class:`.schema.Written`."""
        self._connection.execute(f"DROP TABLE {table}")

    def roomy(self) -> None:
        """See :class:`.schema.Written`."""
        self._connection.execute("PRAGMA cache_size=-250000")

    def finish(self) -> None:
        """Gathers statistics and hands the file to the disk."""
        self._connection.execute("PRAGMA analysis_limit=1000")
        self._connection.execute("ANALYZE")
        self._connection.close()
        with self._path.open("rb+") as file:
            os.fsync(file.fileno())

    def close(self) -> None:
        """Closes the file, finished or not."""
        self._connection.close()


def _filled(sql: str) -> str:
    return sql.format(t="", a=_A, b=_B, **_WORDS)


def _connection(path: Path) -> sqlite3.Connection:
    """The thread's connection to the file; another when another file has taken its name."""
    try:
        found = path.stat()
    except FileNotFoundError:
        what = f"{path} is missing: the names of this release are not on this machine. Load it again"
        raise StoreMissing(what) from None
    mark = (found.st_ino, found.st_mtime_ns, found.st_size)
    kept: dict[Path, tuple[tuple[int, int, int], sqlite3.Connection]] = _open.__dict__.setdefault("kept", {})
    if path in kept and kept[path][0] == mark:
        return kept[path][1]
    if path in kept:
        kept.pop(path)[1].close()
    # Nobody writes to a finished file, so no lock is needed to read it.
    connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)
    (layout,) = connection.execute("PRAGMA user_version").fetchone()
    if layout != LAYOUT:
        connection.close()
        raise StoreMissing(f"{path} is laid out as another version of the program does it. Load it again")
    connection.execute("PRAGMA mmap_size=4000000000")
    connection.execute("PRAGMA cache_size=-16000")
    kept[path] = (mark, connection)
    return connection
