"""Opens a Darwin Core Archive (a folder or a zip with a meta.xml), or one table of names by itself."""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from .files import Files, read
from .lineages import ASKED, RANKS_ABOVE, Lineages, lacks_classification, with_lineages
from .meta import META, read_about, read_meta
from .plain import SUFFIXES, plain_table
from .source import CAUTION, TAXON, VERNACULAR, About, ArchiveError, Line, Table
from .tables import read_lines

__all__ = [
    "CAUTION", "TAXON", "VERNACULAR", "About", "Archive", "ArchiveError", "Row", "Table", "open_archive",
]  # fmt: skip

# The kinds of extension that the house reads; an archive may hold many more.
_READ = (VERNACULAR, CAUTION)
# The first reading of a core for its parents, beside the files in the count of bytes.
_PARENTS = "parents of the core"


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table: its number in the file, and its values by the last part of the term."""

    line: int
    values: Mapping[str, str]

    def __getitem__(self, term: str) -> str:
        return self.values.get(term, "")


@dataclass(slots=True)
class Archive:
    """An opened archive. ``remarks`` collects oddities that did not stop the reading."""

    path: Path
    files: Files
    core: Table
    extensions: Sequence[Table]
    about: About
    remarks: list[str] = field(default_factory=list)
    has_meta: bool = True
    synonyms_expected: bool = True
    _read: dict[str, int] = field(default_factory=dict)

    @property
    def bytes_total(self) -> int:
        """The size of the tables of names, common names and cautions, unpacked.

        The core counts twice when its classification has to be built from the parents first.
        """
        twice = [self.core.location] if lacks_classification(self.core, RANKS_ABOVE) else []
        return sum(self.files.size(location) for location in [*twice, *self._locations()])

    @property
    def bytes_read(self) -> int:
        """How much of ``bytes_total`` the latest reading of each table has seen."""
        return sum(self._read.get(location, 0) for location in [_PARENTS, *self._locations()])

    def table(self, row_type: str) -> Table | None:
        """The extension of that kind, if there is one."""
        return next((table for table in self.extensions if table.row_type == row_type), None)

    def rows_of(self, table: Table, terms: Sequence[str]) -> Iterator[Line]:
        """Line number and values in the order of ``terms``; see :meth:`NameSource.rows_of`."""
        if table is not self.core or not lacks_classification(table, terms):
            yield from self._lines(table, terms, table.location, self.remarks)
            return
        lineages = Lineages(self._lines(table, ASKED, _PARENTS, []))
        lines = self._lines(table, (*terms, *ASKED), table.location, self.remarks)
        yield from with_lineages(lines, lineages, terms)

    def rows(self, table: Table) -> Iterator[Row]:
        """The same with every term of the table, as a mapping: slower, for small tables."""
        terms = tuple({**table.columns, **table.defaults})
        for line, values in self.rows_of(table, terms):
            yield Row(line, dict(zip(terms, values, strict=True)))

    def _lines(self, table: Table, terms: Sequence[str], count_as: str, remarks: list[str]) -> Iterator[Line]:
        self._read[count_as] = 0

        def advance(size: int) -> None:
            self._read[count_as] += size

        with self.files.open(table.location) as raw:
            yield from read_lines(table, raw, terms, remarks=remarks, advance=advance)

    def fingerprint(self) -> str:
        """SHA-256 of the files that are read."""
        digest = hashlib.sha256()
        for location in [*([META] if self.has_meta else []), *self._locations()]:
            with self.files.open(location) as raw:
                while block := read(raw, 1 << 20, location):
                    digest.update(block)
        return digest.hexdigest()

    def _locations(self) -> list[str]:
        tables = [self.core, *(table for kind in _READ if (table := self.table(kind)))]
        return [table.location for table in tables]


def open_archive(path: Path) -> Archive:
    """Reads meta.xml and the metadata document, or the first line of a table by itself.

    Raises :class:`ArchiveError` when a file that is needed is not there or not to be trusted.
    """
    if path.is_file() and path.suffix.casefold() in SUFFIXES:
        remarks: list[str] = []
        # A link leads to the file itself, and it is read among the files that stand beside it there.
        file = path.resolve()
        core = plain_table(file, remarks)
        return Archive(path, Files(file.parent), core, (), About(), remarks, has_meta=False)
    files = Files(path)
    core, extensions, metadata = read_meta(files)
    archive = Archive(path, files, core, extensions, About())
    # Sizes are asked here, so that a file that is missing is told before an hour of loading.
    _ = archive.bytes_total
    archive.about = read_about(files, metadata, archive.remarks)
    return archive
