"""A house's database with every migration taken and nothing in it, for processes of their own.

To take all migrations lasts longer than most tests; the tests' own database has them already.
"""

import sqlite3
import subprocess
from pathlib import Path
from typing import Any

from django.db import connection

from . import cluster


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


def _run(program: str, *words: str) -> None:
    programs, told = cluster.programs(), connection.settings_dict
    assert programs
    who = [f"--host={told['HOST']}", f"--username={told['USER']}"]
    command: list[Any] = [programs / program, *who, *words]
    subprocess.run(command, check=True)
