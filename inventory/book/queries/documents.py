"""Where the papers lie, and whether they are still what they were."""

import hashlib
from pathlib import Path

from django.conf import settings

from ..models import Document


def path_of(sha256: str) -> Path:
    """The file of the document with this hash; folders of the first two letters keep folders small."""
    return Path(settings.DOCUMENT_FOLDER) / sha256[:2] / sha256


def read_document(document: Document) -> bytes:
    """The content as it came. Raises :class:`ValueError` when the file is gone or altered."""
    path = path_of(document.sha256)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise ValueError(f"The file of {document.name} is gone; restore it from a backup.") from error
    if hashlib.sha256(content).hexdigest() != document.sha256:
        raise ValueError(f"The file of {document.name} was altered; restore it from a backup.")
    return content
