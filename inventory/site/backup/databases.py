"""One consistent copy of the database while it serves, and the way back into an empty one."""

import os
import sqlite3
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from django.db import connection

from .manifest import NotABackup

# The name of the database's copy inside a backup.
COPY = {"sqlite": "database.sqlite3", "postgresql": "database.pgdump"}
_PAGES = 4_000  # copied between two breaths, so that writers are not kept waiting


class CannotCopy(Exception):
    """The database could not be copied; the message says why and what to do."""


def copy_database(to: Path) -> None:
    """Writes the database as it is at one moment; readers and writers go on meanwhile."""
    if connection.vendor == "sqlite":
        _copy_sqlite(Path(connection.settings_dict["NAME"]), to)
    else:
        _run(["pg_dump", "--format=custom", "--no-owner", f"--file={to}"], connection.settings_dict)


def _copy_sqlite(source: Path, to: Path) -> None:
    """SQLite's own online backup: it starts anew by itself when somebody writes in between."""
    with _opened(source) as here, _opened(to) as there:
        here.backup(there, pages=_PAGES)
        there.execute("PRAGMA journal_mode=DELETE")


class _opened:  # noqa: N801 - used as a verb, like contextlib's own
    """A SQLite file, closed at the end, which sqlite3's own context manager does not do."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __enter__(self) -> sqlite3.Connection:
        self.connection = sqlite3.connect(self.path, timeout=60)
        return self.connection

    def __exit__(self, *_: object) -> None:
        self.connection.close()


def check_sqlite(path: Path) -> None:
    """Raises :class:`NotABackup` when the file is no sound database."""
    try:
        with _opened(path) as copy:
            found = copy.execute("PRAGMA integrity_check").fetchone()[0]
    except sqlite3.DatabaseError as error:
        raise NotABackup(f"The database in the backup is damaged: {error}.") from error
    if found != "ok":
        raise NotABackup(f"The database in the backup is damaged: {found}.")


def create_postgresql(name: str) -> None:
    """An empty database beside ours."""
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE DATABASE {connection.ops.quote_name(name)}")


def fill_postgresql(name: str, dump: Path) -> None:
    """Reads a dump into an empty database."""
    settings = {**connection.settings_dict, "NAME": name}
    _run(["pg_restore", "--no-owner", "--exit-on-error", f"--dbname={name}", str(dump)], settings)


def drop_postgresql(name: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"DROP DATABASE IF EXISTS {connection.ops.quote_name(name)}")


def swap_postgresql(ours: str, restored: str, aside: str) -> None:
    """Puts the restored database in the place of ours, which stays beside under another name.

    The two renamings are one transaction: there is a database of our name before and after.
    """
    import psycopg

    settings = connection.settings_dict
    connection.close()
    with psycopg.connect(
        dbname="postgres" if ours != "postgres" else "template1",
        host=settings["HOST"] or None,
        port=settings["PORT"] or None,
        user=settings["USER"] or None,
        password=settings["PASSWORD"] or None,
    ) as maintenance:
        quote = connection.ops.quote_name
        try:
            maintenance.execute(f"ALTER DATABASE {quote(ours)} RENAME TO {quote(aside)}")
            maintenance.execute(f"ALTER DATABASE {quote(restored)} RENAME TO {quote(ours)}")
        except psycopg.errors.ObjectInUse as error:
            raise CannotCopy(
                f"Somebody is connected to the database {ours}. Stop the server, then restore again."
            ) from error


def _run(command: list[str], settings: Mapping[str, Any]) -> None:
    """Runs a program of PostgreSQL for a database; the password goes by the environment, not the list."""
    told = {
        "PGHOST": settings["HOST"],
        "PGPORT": settings["PORT"],
        "PGUSER": settings["USER"],
        "PGPASSWORD": settings["PASSWORD"],
        "PGDATABASE": settings["NAME"],
    }
    environment = {**os.environ, **{name: str(value) for name, value in told.items() if value}}
    try:
        subprocess.run(command, env=environment, check=True, capture_output=True, text=True)
    except FileNotFoundError as error:
        raise CannotCopy(
            f"{command[0]} is not on this machine; install PostgreSQL's client programs."
        ) from error
    except subprocess.CalledProcessError as error:
        raise CannotCopy(f"{command[0]} failed: {error.stderr.strip()}") from error
