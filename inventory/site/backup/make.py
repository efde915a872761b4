"""Makes a backup: the database as it is at one moment, the papers, and what proves them."""

import hashlib
import os
import tempfile
import zipfile
from datetime import datetime
from pathlib import Path

import pyrage
from django.conf import settings
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder

from inventory.book.queries.heads import head_of_chain

from .databases import COPY, copy_database
from .manifest import NAME, Manifest, Member

_AT_ONCE = 1 << 20


def make_backup(to: Path, *, now: datetime, recipient: str = "") -> Manifest:
    """Writes the backup to ``to``, whole or not at all; answers what is in it.

    ``recipient`` is the public half of an age key ("age1..."): what is encrypted for it can be read
    only with the secret half, which this machine need not have. The head of the chain is read before
    the copy is made, so that the copy holds it for certain.
    """
    to.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=to.parent, prefix=".backup-") as folder:
        scratch = Path(folder)
        head = head_of_chain()
        database = scratch / COPY[connection.vendor]
        copy_database(database)
        archive = scratch / "backup.zip"
        manifest = _write(archive, database, head, now=now)
        if recipient:
            sealed = scratch / "backup.zip.age"
            _seal(archive, sealed, recipient)
            archive = sealed
        _synced(archive)
        os.replace(archive, to)
    return manifest


def _write(archive: Path, database: Path, head: str, *, now: datetime) -> Manifest:
    papers = sorted(path for path in Path(settings.DOCUMENT_FOLDER).glob("??/*") if path.is_file())
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED) as out:
        members = [_add(out, database, database.name)]
        members += [_add(out, paper, f"documents/{paper.name}") for paper in papers]
        manifest = Manifest(now, connection.vendor, head, _migrations(), members)
        out.writestr(NAME, manifest.to_json())
    return manifest


def _add(out: zipfile.ZipFile, path: Path, name: str) -> Member:
    """Copies a file into the archive, hashing on the way: memory stays the same however large it is."""
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as source, out.open(name, "w", force_zip64=True) as there:
        while part := source.read(_AT_ONCE):
            digest.update(part)
            size += len(part)
            there.write(part)
    return Member(name, size, digest.hexdigest())


def _migrations() -> dict[str, list[str]]:
    """Every step that the database has taken, by room."""
    taken: dict[str, list[str]] = {}
    for app, name in sorted(MigrationRecorder(connection).applied_migrations()):
        taken.setdefault(app, []).append(name)
    return taken


def _seal(archive: Path, sealed: Path, recipient: str) -> None:
    with archive.open("rb") as source, sealed.open("wb") as out:
        pyrage.encrypt_io(source, out, [pyrage.x25519.Recipient.from_str(recipient)])


def _synced(path: Path) -> None:
    with path.open("rb") as written:
        os.fsync(written.fileno())
