"""Keeps papers: once each, named by their hash, outside of what the web server gives away."""

import hashlib
import os
import tempfile
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db import transaction

from inventory.people.models import Person

from ..models import Document
from ..queries.documents import path_of
from ..rules.media import TAKEN, media_type

LARGEST = 20 * 1024 * 1024


class DocumentRefused(Exception):
    """A file that is not kept; the message says why and what to do."""


def keep_document(*, name: str, content: bytes, by: Person, now: datetime) -> Document:
    """Keeps ``content`` and answers its document; the same content again is the same document.

    The file is on disk before its row is written: a row without its file cannot come about, a file
    without a row does no harm. Raises :class:`DocumentRefused`.
    """
    name = Path(name.replace("\\", "/")).name[-200:]
    if not content:
        raise DocumentRefused(f"{name!r} is empty; choose the file again.")
    if len(content) > LARGEST:
        megabytes, largest = len(content) / 1_048_576, LARGEST // 1_048_576
        raise DocumentRefused(f"{name!r} has {megabytes:.1f} MB; the largest file kept is {largest} MB.")
    found = media_type(name, content)
    if not found:
        raise DocumentRefused(f"{name!r} is none of the kinds of file that are kept: {TAKEN}.")
    digest = hashlib.sha256(content).hexdigest()
    _write(path_of(digest), content)
    with transaction.atomic():
        document, _ = Document.objects.get_or_create(
            sha256=digest,
            defaults={
                "name": name,
                "media_type": found,
                "size": len(content),
                "kept_by": by,
                "kept_at": now,
            },
        )
    return document


def _write(path: Path, content: bytes) -> None:
    """Whole or not at all: written beside, then moved into place."""
    if path.exists():
        return
    Path(settings.DOCUMENT_FOLDER).mkdir(parents=True, exist_ok=True)
    path.parent.mkdir(exist_ok=True)
    handle, beside = tempfile.mkstemp(dir=path.parent)
    with os.fdopen(handle, "wb") as out:
        out.write(content)
        out.flush()
        os.fsync(out.fileno())
    os.replace(beside, path)
