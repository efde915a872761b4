"""A step of ``migrate`` that was killed is whole or not there."""

import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

from django.conf import settings

from .test_fate import _environment

# The first step of this app ends with indexes, which Django would make and commit before it told.
_KILLED = """
import os, signal, django
django.setup()
from django.core.management import call_command
from django.db.migrations.recorder import MigrationRecorder
record = MigrationRecorder.record_applied

def killed(self, app, name):
    if (app, name) == ("auth", "0001_initial"):
        os.kill(os.getpid(), signal.SIGKILL)
    record(self, app, name)

MigrationRecorder.record_applied = killed
call_command("migrate", "auth", verbosity=0)
"""


def test_a_step_that_is_killed_before_it_is_recorded_leaves_no_tables(tmp_path: Path) -> None:
    file = tmp_path / "house.sqlite3"
    told = {**_environment(TIDETALLY_SQLITE=str(file)), "DJANGO_SETTINGS_MODULE": "inventory.site.settings"}
    told.pop("DATABASE_URL", None)
    command = [sys.executable, "-c", _KILLED]
    ended = subprocess.run(command, cwd=settings.PROJECT, env=told, check=False, timeout=120)
    assert ended.returncode == -signal.SIGKILL
    with sqlite3.connect(file) as there:
        tables = {name for (name,) in there.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    assert "django_migrations" in tables
    assert not {name for name in tables if name.startswith("auth_")}
