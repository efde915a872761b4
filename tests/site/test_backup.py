"""A backup is made while the house serves, proves itself, and comes back whole or not at all.

The drill runs the commands as a house does, each in a process of its own, on the kind of database that
the tests run on.
"""

import os
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.parse import quote
from uuid import uuid4

import pyrage
import pytest
from django.conf import settings
from django.db import connection
from hypothesis import given
from hypothesis import settings as settings_
from hypothesis import strategies as st
from pytest_django import DjangoDbBlocker

from inventory.site.backup.databases import COPY
from inventory.site.backup.kept import age_in_words, backups_in, last_backup, overdue
from inventory.site.backup.manifest import FORMAT, Manifest, Member, NotABackup, read_manifest
from inventory.site.backup.restore import unpack
from inventory.site.backup.retention import Retention, made_at, name_at, parse_retention, to_remove

from ..migrated import copy_of_the_tests_database, fill_from

NOW = datetime(2026, 10, 6, 8, 0, tzinfo=UTC)
pytestmark = pytest.mark.django_db  # the tests' database has every migration, and is copied


@dataclass(frozen=True, slots=True)
class House:
    """A house of its own, and its commands; ``data`` is its ``TIDETALLY_DATA``, beside the backups."""

    data: Path
    database: str = ""  # in PostgreSQL

    def __call__(self, *words: str, **more: str) -> subprocess.CompletedProcess[str]:
        environment = {**os.environ, "TIDETALLY_DATA": str(self.data)}
        environment.pop("DATABASE_URL", None)
        environment.pop("DJANGO_SETTINGS_MODULE", None)
        if self.database:
            told = connection.settings_dict
            where = quote(told["HOST"], safe="") + (f":{told['PORT']}" if told["PORT"] else "")
            environment["DATABASE_URL"] = f"postgres://{told['USER']}@{where}/{self.database}"
        return subprocess.run(
            [sys.executable, "manage.py", *words],
            cwd=settings.PROJECT,
            env={**environment, **more},
            capture_output=True,
            text=True,
            check=False,
            timeout=300,
        )


@contextmanager
def _house(folder: Path, blocker: DjangoDbBlocker, *, like: House | None = None) -> Iterator[House]:
    """A house with every migration taken and nothing in it, or one like another."""
    data = folder / "data"
    if like:
        shutil.copytree(like.data, data)
    else:
        data.mkdir()
    with blocker.unblock():
        if connection.vendor == "sqlite":
            if not like:
                copy_of_the_tests_database(data / "tidetally.sqlite3")
            yield House(data)
            return
        name = f"drill_{uuid4().hex[:12]}"
        with connection._nodb_cursor() as cursor:
            cursor.execute(f"CREATE DATABASE {name}" + (f" TEMPLATE {like.database}" if like else ""))
        if not like:
            fill_from(copy_of_the_tests_database(folder / "migrated"), name)
        try:
            yield House(data, name)
        finally:
            with connection._nodb_cursor() as cursor:
                cursor.execute("SELECT datname FROM pg_database WHERE datname LIKE %s", [f"{name}%"])
                for (made,) in cursor.fetchall():
                    cursor.execute(f"DROP DATABASE {made}")


@pytest.fixture
def house(tmp_path: Path, django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[House]:
    with _house(tmp_path, django_db_blocker) as made:
        yield made


@pytest.fixture(scope="module")
def loaded(
    tmp_path_factory: pytest.TempPathFactory, django_db_setup: None, django_db_blocker: DjangoDbBlocker
) -> Iterator[House]:
    """With animals in it; each test has a house like this one."""
    with _house(tmp_path_factory.mktemp("loaded"), django_db_blocker) as made:
        done = made("load", "fixtures/load/example")
        assert done.returncode == 0, done.stderr
        yield made


@pytest.fixture
def lived_in(loaded: House, tmp_path: Path, django_db_blocker: DjangoDbBlocker) -> Iterator[House]:
    with _house(tmp_path, django_db_blocker, like=loaded) as made:
        yield made


def _stock(run: House) -> str:
    return run("stock", "--as-of", "2026-10-06", "--format", "csv").stdout


def test_a_restored_house_holds_what_the_lost_one_held(lived_in: House, tmp_path: Path) -> None:
    before = _stock(lived_in)
    file = tmp_path / "copy.zip"
    made = lived_in("backup", str(file))
    assert made.returncode == 0, made.stderr
    assert before.count("\n") > 1

    refused = lived_in("restore", str(file))
    assert refused.returncode == 1
    assert "--replace" in refused.stderr

    restored = lived_in("restore", str(file), "--replace")
    assert restored.returncode == 0, restored.stderr
    assert "is kept as" in restored.stderr
    assert _stock(lived_in) == before
    assert lived_in("verify").returncode == 0


def test_a_backup_for_a_key_opens_with_the_secret_half_only(lived_in: House, tmp_path: Path) -> None:
    key, wrong = pyrage.x25519.Identity.generate(), pyrage.x25519.Identity.generate()
    made = lived_in("backup", "--into", str(tmp_path / "kept"), TIDETALLY_BACKUP_KEY=str(key.to_public()))
    assert made.returncode == 0, made.stderr
    (file,) = (tmp_path / "kept").iterdir()
    assert file.name.endswith(".zip.age")
    assert b"book_event" not in file.read_bytes()
    for name, identity in (("right", key), ("wrong", wrong)):
        (tmp_path / name).write_text(f"# kept in the safe\n{identity}\n")

    assert "--identity" in lived_in("restore", str(file), "--replace").stderr
    refused = lived_in("restore", str(file), "--replace", "--identity", str(tmp_path / "wrong"))
    assert (refused.returncode, "cannot be decrypted" in refused.stderr) == (1, True)
    restored = lived_in("restore", str(file), "--replace", "--identity", str(tmp_path / "right"))
    assert restored.returncode == 0, restored.stderr


def test_what_is_cut_off_altered_or_newer_is_refused_and_changes_nothing(
    lived_in: House, tmp_path: Path
) -> None:
    file = tmp_path / "copy.zip"
    lived_in("backup", str(file))
    before = _stock(lived_in)
    whole = file.read_bytes()
    damaged = {
        "cut": whole[: len(whole) // 2],
        "bit": whole[:2000] + bytes([whole[2000] ^ 1]) + whole[2001:],
        "empty": b"",
        "other": b"no backup at all",
        "newer": _with_manifest(file, tmp_path, '"0001_initial"', '"9001_of_tomorrow"'),
        "format": _with_manifest(file, tmp_path, f'"format": {FORMAT}', f'"format": {FORMAT + 1}'),
    }
    for name, content in damaged.items():
        bad = tmp_path / f"{name}.zip"
        bad.write_bytes(content)
        refused = lived_in("restore", str(bad), "--replace")
        assert refused.returncode == 1, name
        assert "Traceback" not in refused.stderr, name
    assert _stock(lived_in) == before


def test_a_ledger_that_was_altered_inside_the_backup_is_refused(lived_in: House, tmp_path: Path) -> None:
    """Whoever can write the file can make its hashes fit; the head that was kept elsewhere still tells."""
    file = tmp_path / "copy.zip"
    lived_in("backup", str(file))
    forged = tmp_path / "forged.zip"
    head = read_manifest(zipfile.ZipFile(file).read("manifest.json").decode()).head
    number, _, _ = head.partition(":")
    forged.write_bytes(_with_manifest(file, tmp_path, head, f"{number}:{'ab' * 32}"))
    refused = lived_in("restore", str(forged), "--replace")
    assert refused.returncode == 1
    assert "does not hold" in refused.stderr
    told = lived_in("verify", "--against", f"{number}:{'ab' * 32}")
    assert (told.returncode, "was altered" in told.stdout) == (1, True)
    assert lived_in("verify", "--against", head).returncode == 0
    assert lived_in("verify", "--against", f"{int(number) + 1}:{'ab' * 32}").returncode == 1
    assert lived_in("verify", "--against", "nonsense").returncode == 2


def _with_manifest(file: Path, folder: Path, old: str, new: str) -> bytes:
    """The same backup with another word in what it says of itself."""
    changed = folder / "changed.zip"
    with zipfile.ZipFile(file) as source, zipfile.ZipFile(changed, "w") as out:
        for name in source.namelist():
            content = source.read(name)
            if name == "manifest.json":
                assert old in content.decode()
                content = content.decode().replace(old, new).encode()
            out.writestr(name, content)
    return changed.read_bytes()


@settings_(max_examples=400)
@given(st.data())
def test_whatever_byte_changes_a_backup_is_whole_or_refused(data: st.DataObject) -> None:
    """Never a stack trace, never another content: of 400 altered and cut archives."""
    paper = b"a letter " * 9
    members = {COPY[connection.vendor]: b"the database" * 40, f"documents/{sha256(paper).hexdigest()}": paper}
    told = [Member(name, len(content), sha256(content).hexdigest()) for name, content in members.items()]
    manifest = Manifest(NOW, connection.vendor, "3:ab", {"book": ["0001_initial"]}, told)
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in (*members.items(), ("manifest.json", manifest.to_json().encode())):
            out.writestr(zipfile.ZipInfo(name), content, zipfile.ZIP_DEFLATED)
    bad = bytearray(packed.getvalue())
    for _ in range(data.draw(st.integers(1, 3))):
        bad[data.draw(st.integers(0, len(bad) - 1))] = data.draw(st.integers(0, 255))
    bad = bad[: data.draw(st.one_of(st.just(len(bad)), st.integers(0, len(bad))))]
    with TemporaryDirectory() as folder:
        scratch = Path(folder)
        (scratch / "bad.zip").write_bytes(bad)
        try:
            unpack(scratch / "bad.zip", scratch)
        except NotABackup:
            return
        assert (scratch / COPY[connection.vendor]).read_bytes() == members[COPY[connection.vendor]]
        (kept,) = (scratch / "documents").iterdir()
        assert kept.read_bytes() == paper


@given(st.sets(st.integers(0, 900), max_size=60), st.integers(0, 5), st.integers(0, 5), st.integers(0, 5))
def test_the_newest_backup_and_one_of_each_span_are_kept(
    hours: set[int], daily: int, weekly: int, monthly: int
) -> None:
    moments = [NOW - timedelta(hours=7 * hour) for hour in hours]
    names = [name_at(moment, encrypted=index % 2 == 0) for index, moment in enumerate(moments)]
    removed = to_remove([*names, "notes.txt"], Retention(daily, weekly, monthly))
    kept = set(names) - set(removed)
    assert "notes.txt" not in removed
    assert set(removed) <= set(names)
    if names:
        assert max(names, key=lambda name: made_at(name) or NOW) in kept
    days = sorted({moment.date() for moment in moments}, reverse=True)[:daily]
    assert all(any((at := made_at(name)) and at.date() == day for name in kept) for day in days)
    assert len(kept) <= max(daily + weekly + monthly, 1)


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"format": 1}', '{"format": "x", "made_at": 3}'])
def test_a_manifest_that_says_nonsense_is_no_backup(text: str) -> None:
    with pytest.raises(NotABackup):
        read_manifest(text)


def test_a_manifest_reads_back_as_it_was_written() -> None:
    manifest = Manifest(NOW, "sqlite", "3:ab", {"book": ["0001_initial"]}, [])
    assert read_manifest(manifest.to_json()) == manifest


def test_the_rule_of_retention_is_read_from_its_words() -> None:
    assert parse_retention("daily=14,weekly=8,monthly=24") == Retention()
    assert parse_retention("weekly=3") == Retention(weekly=3)
    for nonsense in ("", "yearly=1", "daily", "daily=-1", "daily=x", "daily=1 weekly=2"):
        with pytest.raises(ValueError, match="expected daily=14"):
            parse_retention(nonsense)


def test_two_years_of_nightly_backups_leave_the_days_weeks_and_months_that_were_asked_for() -> None:
    nights = [NOW - timedelta(days=night) for night in range(730)]
    kept: list[str] = []
    for night in reversed(nights):  # as it runs: one more each night, and then what is not needed goes
        kept.append(name_at(night, encrypted=True))
        kept = sorted(set(kept) - set(to_remove(kept, Retention())))
    days = [moment.date() for name in kept if (moment := made_at(name))]
    assert {NOW.date() - timedelta(days=night) for night in range(14)} <= set(days)
    weeks = {day.isocalendar()[:2] for day in days if day > NOW.date() - timedelta(weeks=8)}
    assert len(weeks) >= 8
    assert len({(day.year, day.month) for day in days}) >= 24
    assert len(kept) <= 14 + 8 + 24


def test_the_newest_backup_of_a_folder_is_known_and_told_when_it_is_too_old(tmp_path: Path) -> None:
    assert backups_in(tmp_path / "none") == []
    assert overdue(last_backup(tmp_path), now=NOW)
    for hours in (30, 3, 60):
        name = name_at(NOW - timedelta(hours=hours), encrypted=hours == 3)
        (tmp_path / name).write_bytes(b"x" * hours)
    (tmp_path / "notes.txt").write_text("not a backup")
    newest, *others = backups_in(tmp_path)
    assert (newest.size, newest.encrypted, len(others)) == (3, True, 2)
    assert not overdue(newest, now=NOW)
    assert overdue(newest, now=NOW + timedelta(days=2))
    assert age_in_words(newest, now=NOW) == "3 hours old"
    assert age_in_words(newest, now=NOW + timedelta(days=2)) == "2 days old"


def test_a_folder_of_backups_is_thinned_by_the_command(house: House, tmp_path: Path) -> None:
    folder = tmp_path / "kept"
    folder.mkdir()
    today = datetime.now(UTC)
    for days in range(1, 6):
        (folder / name_at(today - timedelta(days=days), encrypted=False)).write_bytes(b"an old one")
    made = house("backup", "--into", str(folder), "--keep", "daily=3,weekly=0,monthly=0")
    assert made.returncode == 0, made.stderr
    assert made.stderr.count("removed tidetally-") == 3
    newest, *others = backups_in(folder)
    assert len(others) == 2
    assert zipfile.ZipFile(folder / newest.name).testzip() is None
    refused = house("backup", "--into", str(folder), "--keep", "hourly=3")
    assert refused.returncode == 2
    assert "expected daily=14" in refused.stderr
