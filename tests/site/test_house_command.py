"""A command at a prompt makes a new database, and tells when an old one does not fit."""

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from ..migrated import on_sqlite_anyhow

PROJECT = Path(__file__).resolve().parent.parent.parent


def run(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    environment |= {"TIDETALLY_DATA": str(folder), "DJANGO_SETTINGS_MODULE": "inventory.site.settings"}
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=PROJECT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )


@pytest.mark.slow
@on_sqlite_anyhow
def test_a_new_database_gets_its_tables_and_an_old_one_a_sentence(tmp_path: Path) -> None:
    first = run(tmp_path, "stock", "--as-of", "2026-09-30", "--format", "csv")
    assert first.returncode == 0
    assert first.stdout == "name,unit,males,females,hermaphrodites,unknown,total,missing\n"
    assert "Made the tables of a new database" in first.stderr

    with sqlite3.connect(tmp_path / "tidetally.sqlite3") as database:
        database.execute("DELETE FROM django_migrations WHERE app = 'book'")
        database.execute("ALTER TABLE book_flow RENAME TO book_flow_of_old")
    old = run(tmp_path, "stock", "--as-of", "2026-09-30")
    assert old.returncode == 1
    assert "python manage.py migrate" in old.stderr
