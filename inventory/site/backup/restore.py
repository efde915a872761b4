"""The way back: a backup is opened, proved, filled into a database of its own, proved again, and only then
put in the place of ours.
"""

import hashlib
import os
import struct
import subprocess
import sys
import tempfile
import zipfile
import zlib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from urllib.parse import quote

import pyrage
from django.conf import settings
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from .databases import (
    COPY,
    check_sqlite,
    create_postgresql,
    drop_postgresql,
    fill_postgresql,
    swap_postgresql,
)
from .manifest import NAME, Manifest, NotABackup, newer_than, read_manifest

_AT_ONCE = 1 << 20
# A line for each paper; two hundred thousand fit.
_LARGEST_MANIFEST = 40 << 20
# What the zip reader raises for a file in which any byte may have changed; RuntimeError: the mark of a
# password, NotImplementedError: a way of packing that was never used.
_DAMAGED = (
    zipfile.BadZipFile,
    zipfile.LargeZipFile,
    zlib.error,
    struct.error,
    KeyError,
    EOFError,
    ValueError,
    OverflowError,
    NotImplementedError,
    RuntimeError,
    OSError,
)


@dataclass(frozen=True, slots=True)
class Restored:
    """``aside``: where the house that stood here before is kept, "" when there was none."""

    manifest: Manifest
    aside: str


def restore_backup(archive: Path, *, now: datetime, replace: bool, identity: Path | None = None) -> Restored:
    """Restores ``archive``. Raises :class:`NotABackup`, and then nothing has changed.

    ``replace`` puts the house that is here aside, under another name; without it, a house that holds
    anything is not touched. ``identity`` is the file with the secret half of the age key. The server
    should not be running.
    """
    held = _holds_anything()
    if held and not replace:
        raise NotABackup("This database holds a house already. Say --replace to put it aside.")
    Path(settings.DATA).mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=settings.DATA, prefix=".restore-") as folder:
        scratch = Path(folder)
        plain = _unsealed(archive, scratch, identity)
        manifest = unpack(plain, scratch)
        stamp = now.strftime("%Y%m%dT%H%M%S")
        if connection.vendor == "sqlite":
            aside = _into_sqlite(scratch, manifest, stamp)
        else:
            aside = _into_postgresql(scratch, manifest, stamp)
        _papers_back(scratch)
    return Restored(manifest, aside if held else "")


def _holds_anything() -> bool:
    if "book_event" not in connection.introspection.table_names():
        return False
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT EXISTS (SELECT 1 FROM book_event) OR EXISTS (SELECT 1 FROM people_person)"
            " OR EXISTS (SELECT 1 FROM names_taxon)"
        )
        return bool(cursor.fetchone()[0])


def _unsealed(archive: Path, scratch: Path, identity: Path | None) -> Path:
    """The backup as a zip: decrypted when it is encrypted."""
    with archive.open("rb") as source:
        sealed = source.read(21) == b"age-encryption.org/v1"
    if not sealed:
        return archive
    if identity is None:
        raise NotABackup("The backup is encrypted; say --identity FILE, the file with the secret key.")
    lines = identity.read_text(encoding="utf-8").splitlines()
    keys = [line.strip() for line in lines if line.strip().startswith("AGE-SECRET-KEY-")]
    plain = scratch / "backup.zip"
    try:
        with archive.open("rb") as source, plain.open("wb") as out:
            pyrage.decrypt_io(source, out, [pyrage.x25519.Identity.from_str(key) for key in keys])
    except (pyrage.DecryptError, pyrage.IdentityError, OSError) as error:
        raise NotABackup(f"The backup cannot be decrypted: {error}. Wrong key, or damaged.") from error
    return plain


def unpack(archive: Path, scratch: Path) -> Manifest:
    """Takes out every file and holds it to what the manifest says of it."""
    try:
        with zipfile.ZipFile(archive) as source:
            if source.getinfo(NAME).file_size > _LARGEST_MANIFEST:
                raise NotABackup("What the backup says of itself is larger than that of any; it was altered.")
            manifest = read_manifest(source.read(NAME).decode("utf-8"))
            _check_fit(manifest)
            if sorted(source.namelist()) != sorted([NAME, *(member.name for member in manifest.members)]):
                raise NotABackup("The backup has other files than it says; it was altered.")
            (scratch / "documents").mkdir()
            for number, member in enumerate(manifest.members):
                _take_out(
                    source, member.name, member.size, member.sha256, _target(scratch, number, member.name)
                )
    except _DAMAGED as error:
        raise NotABackup(f"The backup is cut off or damaged: {error or type(error).__name__}.") from error
    return manifest


def _target(scratch: Path, number: int, name: str) -> Path:
    """Where a file goes; no name out of the archive ever becomes a path."""
    if number == 0:
        return scratch / COPY[connection.vendor]
    digest = name.removeprefix("documents/")
    if len(digest) != 64 or not set(digest) <= set("0123456789abcdef"):
        raise NotABackup(f"The backup holds a file {name!r} that no backup of ours has.")
    return scratch / "documents" / digest


def _take_out(source: zipfile.ZipFile, name: str, size: int, sha256: str, to: Path) -> None:
    digest, written = hashlib.sha256(), 0
    with source.open(name) as packed, to.open("wb") as out:
        while part := packed.read(_AT_ONCE):
            written += len(part)
            if written > size:
                break
            digest.update(part)
            out.write(part)
    if written != size or digest.hexdigest() != sha256:
        raise NotABackup(f"{name} in the backup is not what it was when the backup was made.")


def _check_fit(manifest: Manifest) -> None:
    """This program and this kind of database can take it."""
    if manifest.vendor != connection.vendor:
        raise NotABackup(
            f"The backup is of {manifest.vendor}, and this house runs on {connection.vendor}; "
            "set DATABASE_URL to where it belongs."
        )
    loader = MigrationLoader(None, ignore_no_migrations=True)
    known: dict[str, set[str]] = {}
    for app, name in loader.disk_migrations:
        known.setdefault(app, set()).add(name)
    newer = newer_than(known, manifest)
    if newer:
        raise NotABackup(
            f"The backup was made by a newer program ({', '.join(newer[:3])} is not known here). "
            "Restore it with that one."
        )


def _into_sqlite(scratch: Path, manifest: Manifest, stamp: str) -> str:
    copy = scratch / COPY["sqlite"]
    check_sqlite(copy)
    _prove({"TIDETALLY_SQLITE": str(copy)}, manifest.head, without="DATABASE_URL")
    ours = Path(connection.settings_dict["NAME"])
    connection.close()
    aside = ""
    if ours.exists():
        aside = f"{ours}.before-{stamp}"
        for suffix in ("", "-wal", "-shm"):
            beside = Path(f"{ours}{suffix}")
            if beside.exists():
                beside.rename(f"{aside}{suffix}")
    os.replace(copy, ours)
    return aside


def _into_postgresql(scratch: Path, manifest: Manifest, stamp: str) -> str:
    ours = str(connection.settings_dict["NAME"])
    restored, aside = f"{ours}_restored_{stamp}".lower(), f"{ours}_before_{stamp}".lower()
    create_postgresql(restored)
    try:
        fill_postgresql(restored, scratch / COPY["postgresql"])
        _prove({"DATABASE_URL": _url(restored)}, manifest.head)
        swap_postgresql(ours, restored, aside)
    except BaseException:
        drop_postgresql(restored)
        raise
    return aside


def _url(name: str) -> str:
    """The address of a database beside ours."""
    told = connection.settings_dict
    who = quote(told["USER"] or "") + (f":{quote(told['PASSWORD'], safe='')}" if told["PASSWORD"] else "")
    where = quote(told["HOST"] or "", safe="") + (f":{told['PORT']}" if told["PORT"] else "")
    return f"postgres://{who}@{where}/{name}"


def _prove(environment: dict[str, str], head: str, *, without: str = "") -> None:
    """Brings the copy up to this program, recomputes its whole ledger, and holds it to its head.

    A process of its own, for Django looks at one database all its life.
    """
    env = {**os.environ, **environment}
    env.pop(without, None)
    program = [sys.executable, str(Path(settings.PROJECT) / "manage.py")]
    for command in (["migrate", "--verbosity=0"], ["verify", "--against", head]):
        done = subprocess.run([*program, *command], env=env, capture_output=True, text=True, check=False)
        if done.returncode:
            said = (done.stdout + done.stderr).strip().splitlines()
            raise NotABackup("The ledger in the backup does not hold:\n" + "\n".join(said[-12:]))


def _papers_back(scratch: Path) -> None:
    """Papers are named by their hash: what is here already is the same."""
    for paper in (scratch / "documents").iterdir():
        to = Path(settings.DOCUMENT_FOLDER) / paper.name[:2] / paper.name
        to.parent.mkdir(parents=True, exist_ok=True)
        if not to.exists():
            os.replace(paper, to)
