"""What every source of names answers, whether an archive, a plain table or a data package."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

TAXON = "http://rs.tdwg.org/dwc/terms/Taxon"
VERNACULAR = "http://rs.gbif.org/terms/1.0/VernacularName"
CAUTION = "urn:tidetally:RangeCaution"

# The number of the line in the file, and its values in the order of the terms that were asked for.
Line = tuple[int, tuple[str, ...]]


class ArchiveError(Exception):
    """What is wrong with a source of names, with file and line; ``str()`` is for people."""

    def __init__(self, file: str, what: str, line: int | None = None) -> None:
        where = f"{file}, line {line}" if line is not None else file
        super().__init__(f"{where}: {what}")


@dataclass(frozen=True, slots=True)
class Table:
    """Core or extension: which term stands in which column, and how its file is written.

    ``columns`` goes by the last part of the term; ``id`` is the column of the core's identifier.
    """

    row_type: str
    location: str
    columns: Mapping[str, int]
    defaults: Mapping[str, str]
    separator: str
    quote: str
    encoding: str
    header_lines: int

    def has(self, term: str) -> bool:
        """Whether the table says anything on that term."""
        return term in self.columns or term in self.defaults


@dataclass(frozen=True, slots=True)
class About:
    """What the source says of itself; blank where it says nothing."""

    title: str = ""
    version: str = ""
    licence: str = ""
    source: str = ""


class NameSource(Protocol):
    """A core of names with its extensions, read one line after the other in constant memory."""

    @property
    def core(self) -> Table:
        """The table of names."""

    @property
    def about(self) -> About:
        """Title, version, licence and credit."""

    @property
    def remarks(self) -> Sequence[str]:
        """Oddities that did not stop the reading; complete when all has been read."""

    @property
    def synonyms_expected(self) -> bool:
        """False for a source that is known to hold accepted names only."""

    @property
    def bytes_total(self) -> int:
        """The size of the tables of names, common names and cautions, unpacked; rows where there are
        no bytes."""

    @property
    def bytes_read(self) -> int:
        """How much of ``bytes_total`` has been read by now: for progress and the time left."""

    def table(self, row_type: str) -> Table | None:
        """The extension of that kind, if there is one."""

    def rows_of(self, table: Table, terms: Sequence[str]) -> Iterator[Line]:
        """Line number and values, stripped, in the order of ``terms`` (last parts, as ``taxonID``).

        A term that the table does not have is blank. ``id`` is the identifier of the core's row,
        in the core and in each extension; ``taxonID`` of the core falls back on it. A core without
        columns of kingdom to genus gets them from the parents, but for synonyms. Raises
        :class:`ArchiveError` with file and line.
        """

    def fingerprint(self) -> str:
        """SHA-256 of what is read: the same for the same content."""
