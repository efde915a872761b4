"""A house's database with every migration taken and nothing in it, for processes of their own.

To take all migrations lasts longer than most tests; the tests' own database has them already.
"""

import os
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from django.db import connection

from . import cluster

# For what runs in a process and a house of its own on SQLite, whatever the tests themselves run on.
on_sqlite_anyhow = pytest.mark.skipif(
    "DATABASE_URL" in os.environ,
    reason="on a SQLite of its own in every run: the tests' run on SQLite does it",
)


def copy_of_the_tests_database(to: Path) -> Path:
    """A file of SQLite, or a dump of PostgreSQL (custom format), of the kind that the tests run on.

    Holds what is committed: call it from a test without rows of its own.
    """
    told = connection.settings_dict
    if connection.vendor == "sqlite":
        here, there = sqlite3.connect(told["NAME"]), sqlite3.connect(to)
        here.backup(there)
        here.close()
        there.close()
        return to
    _run("pg_dump", f"--dbname={told['NAME']}", f"--file={to}", "--format=custom", "--no-owner")
    return to


def fill_from(dump: Path, database: str) -> None:
    """Reads such a dump into an empty database of the same server."""
    _run("pg_restore", f"--dbname={database}", "--no-owner", str(dump))


@contextmanager
def second_database(name: str) -> Iterator[str]:
    """A copy of the tests' database beside it, gone afterwards; answers what Django calls its name."""
    tests_own = str(connection.settings_dict["NAME"])
    if connection.vendor == "sqlite":
        file = copy_of_the_tests_database(Path(tests_own).with_name(f"{name}.sqlite3"))
        try:
            yield str(file)
        finally:
            for path in file.parent.glob(f"{file.name}*"):
                path.unlink()
        return
    beside = f"{tests_own}_{name}"
    dump = Path(os.environ["TIDETALLY_TEST_DATA"]) / beside
    with connection._nodb_cursor() as cursor:
        cursor.execute(f"DROP DATABASE IF EXISTS {beside} WITH (FORCE)")
        cursor.execute(f"CREATE DATABASE {beside}")
    try:
        fill_from(copy_of_the_tests_database(dump), beside)
        dump.unlink()
        yield beside
    finally:
        with connection._nodb_cursor() as cursor:
            cursor.execute(f"DROP DATABASE {beside} WITH (FORCE)")


@contextmanager
def looking_at(database: str) -> Iterator[None]:
    """Django's connections, those of threads too, lead to this one; not to be called in a transaction."""
    tests_own = connection.settings_dict["NAME"]
    connection.close()
    connection.settings_dict["NAME"] = database
    try:
        yield
    finally:
        connection.close()
        connection.settings_dict["NAME"] = tests_own


def _run(program: str, *words: str) -> None:
    programs, told = cluster.programs(), connection.settings_dict
    assert programs
    who = [f"--host={told['HOST']}", f"--username={told['USER']}"]
    command: list[Any] = [programs / program, *who, *words]
    subprocess.run(command, check=True, timeout=300)
