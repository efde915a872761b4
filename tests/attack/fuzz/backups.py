"""A backup of the form that ``backup`` writes, made by hand: small, and whole."""

import hashlib
import json

from django.db import connection

from inventory.site.backup.databases import COPY
from inventory.site.backup.manifest import FORMAT, NAME

from .packed import pack


def small_backup() -> bytes:
    """A database that is none and a paper: enough for everything that is looked at before they are used."""
    paper = b"%PDF-1.7 a letter"
    inside = {
        COPY[connection.vendor]: b"SQLite format 3\x00" + bytes(200),
        f"documents/{hashlib.sha256(paper).hexdigest()}": paper,
    }
    manifest = {
        "format": FORMAT,
        "made_at": "2026-10-01T03:00:00+00:00",
        "vendor": connection.vendor,
        "head": "0:" + "0" * 64,
        "migrations": {"people": ["0001_initial"]},
        "members": [
            {"name": name, "size": len(content), "sha256": hashlib.sha256(content).hexdigest()}
            for name, content in inside.items()
        ],
    }
    return pack({**inside, NAME: json.dumps(manifest).encode()})
