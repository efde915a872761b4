"""The files that a device keeps, with their hashes, as the service worker is told them."""

import hashlib
from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path

from django.contrib.staticfiles import finders
from django.templatetags.static import static

from ..rules.pages import COMMON_FILES, PAGES


def static_hashes() -> dict[str, str]:
    """Address → SHA-256 of every static file that a page of the tank side needs.

    Raises :class:`FileNotFoundError` when a page names a file that is not there: a worker that
    cannot keep all of a page must not be handed out.
    """
    return {static(name): _hash_of(name) for name in _names()}


def version_of(hashes: Iterable[tuple[str, str]]) -> str:
    """A short name for exactly these files: other content, another name."""
    text = "\n".join(f"{address} {digest}" for address, digest in sorted(hashes))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def digest(content: bytes) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(content).hexdigest()


def _names() -> list[str]:
    return sorted({*COMMON_FILES, *(name for page in PAGES for name in page.files)})


def _hash_of(name: str) -> str:
    found = finders.find(name)
    if not isinstance(found, str):
        raise FileNotFoundError(f"static file {name} of the tank side is not there")
    about = Path(found).stat()
    return _read(found, about.st_mtime_ns, about.st_size)


@lru_cache(maxsize=256)
def _read(path: str, changed: int, size: int) -> str:
    """The hash of a file; read once as long as its time and size stay."""
    return digest(Path(path).read_bytes())
