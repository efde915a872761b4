"""Where the processes of one server count; apart from the counting, for it comes before that is imported."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

FOLDER = "PROMETHEUS_MULTIPROC_DIR"
_IN_MEMORY = Path("/dev/shm")


@contextmanager
def gathered_in_memory() -> Iterator[None]:
    """Several processes count into a new folder, which goes at the end.

    The folder is in memory where the system has such a place: a full disk must not stop who counts.
    """
    folder = tempfile.mkdtemp(prefix="tidetally-", dir=_IN_MEMORY if _IN_MEMORY.is_dir() else None)
    os.environ[FOLDER] = folder
    try:
        yield
    finally:
        os.environ.pop(FOLDER, None)
        shutil.rmtree(folder, ignore_errors=True)
