"""The one way in: a path to an archive or table, or the name of a data package."""

from collections.abc import Callable, Mapping
from pathlib import Path

from .archive import open_archive
from .inat import open_inat
from .ncbi import open_ncbi
from .source import NameSource

# What ``backbone load`` takes beside a path; a folder of that name is written ./ncbi.
PACKAGES: Mapping[str, Callable[[], NameSource]] = {"ncbi": open_ncbi, "inat": open_inat}


def open_source(what: str) -> NameSource:
    """The source of that name or at that path. Raises :class:`ArchiveError`."""
    opener = PACKAGES.get(what)
    return opener() if opener else open_archive(Path(what))
