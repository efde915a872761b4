"""Reads a Darwin Core Archive: a folder or a zip whose meta.xml says what stands in which column.

After the Darwin Core Text Guide of TDWG (https://dwc.tdwg.org/text/): the core and its extensions
are named by ``rowType``, columns by ``term``, and their order is never assumed.
"""

import csv
import hashlib
import io
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO
from xml.etree import ElementTree

from .source import CAUTION, TAXON, VERNACULAR, About, ArchiveError, Line, Table

__all__ = [
    "CAUTION", "TAXON", "VERNACULAR", "About", "Archive", "ArchiveError", "Row", "Table", "open_archive",
]  # fmt: skip

_TEXT = "{http://rs.tdwg.org/dwc/text/}"
_LONGEST_XML = 5_000_000
_RANKS = {"kingdom", "phylum", "class", "order", "family", "genus", "subgenus"}
_ESCAPES = {"\\t": "\t", "\\n": "\n", "\\r": "\r", "\\r\\n": "\r\n"}


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
    core: Table
    extensions: Sequence[Table]
    about: About
    remarks: list[str] = field(default_factory=list)

    def table(self, row_type: str) -> Table | None:
        """The extension of that kind, if there is one."""
        return next((table for table in self.extensions if table.row_type == row_type), None)

    def rows(self, table: Table) -> Iterator[Row]:
        """The lines of a table, one after the other. Raises :class:`ArchiveError`."""
        with _file(self.path, table.location) as raw:
            text = io.TextIOWrapper(raw, encoding=table.encoding, newline="")
            try:
                yield from self._lines(table, text)
            except UnicodeDecodeError as error:
                what = f"not {table.encoding}, as meta.xml says it is ({error.reason})"
                raise ArchiveError(table.location, what) from error
            except csv.Error as error:
                raise ArchiveError(table.location, f"not a table of fields: {error}") from error

    synonyms_expected = True

    def rows_of(self, table: Table, terms: Sequence[str]) -> Iterator[Line]:
        """As :meth:`NameSource.rows_of` says."""
        identifier = "id" if "id" in table.columns else "taxonID"
        wanted = [
            identifier if term == "id" or (term == "taxonID" and not table.has(term)) else term
            for term in terms
        ]
        return ((row.line, tuple(row[term] for term in wanted)) for row in self.rows(table))

    @property
    def bytes_total(self) -> int:
        """As :meth:`NameSource.bytes_total` says."""
        return 1

    @property
    def bytes_read(self) -> int:
        """As :meth:`NameSource.bytes_read` says."""
        return 0

    def fingerprint(self) -> str:
        """SHA-256 of the files that are read."""
        digest = hashlib.sha256()
        for location in ("meta.xml", self.core.location, *(table.location for table in self.extensions)):
            with _file(self.path, location) as raw:
                while block := raw.read(1 << 20):
                    digest.update(block)
        return digest.hexdigest()

    def _lines(self, table: Table, text: IO[str]) -> Iterator[Row]:
        reader = (
            csv.reader(text, delimiter=table.separator, quotechar=table.quote, strict=True)
            if table.quote
            else csv.reader(text, delimiter=table.separator, quoting=csv.QUOTE_NONE)
        )
        needed = max(table.columns.values(), default=0) + 1
        for number, cells in enumerate(reader):
            if number < table.header_lines:
                if _is_header(cells, table):
                    continue
                self.remarks.append(f"{table.location}: meta.xml promises a header line, there is none")
            if not cells:
                continue
            if len(cells) < needed:
                what = f"expected {needed} fields as meta.xml says, found {len(cells)}"
                raise ArchiveError(table.location, what, reader.line_num)
            values = {term: cells[index].strip() for term, index in table.columns.items()}
            yield Row(reader.line_num, {**table.defaults, **values})


def open_archive(path: Path) -> Archive:
    """Reads meta.xml and the metadata document. Raises :class:`ArchiveError`."""
    if not path.exists():
        raise ArchiveError(str(path), "there is no such file or folder")
    if path.is_file() and not zipfile.is_zipfile(path):
        raise ArchiveError(str(path), "expected a folder or a zip file with a meta.xml inside")
    root = _xml(path, "meta.xml")
    core = root.find(f"{_TEXT}core")
    if core is None:
        raise ArchiveError("meta.xml", "expected an element <core>; this is no Darwin Core Archive")
    table = _table(core, "id")
    if table.row_type != TAXON:
        raise ArchiveError("meta.xml", f"expected a core of {TAXON}, found {table.row_type}")
    extensions = [_table(node, "coreid") for node in root.findall(f"{_TEXT}extension")]
    return Archive(path, table, extensions, _about(path, root.get("metadata", "")))


def _table(node: ElementTree.Element, identifier: str) -> Table:
    location = node.findtext(f"{_TEXT}files/{_TEXT}location", "").strip()
    if not location:
        raise ArchiveError("meta.xml", f"a {node.get('rowType', 'table')} names no file")
    columns: dict[str, int] = {}
    defaults: dict[str, str] = {}
    try:
        id_node = node.find(f"{_TEXT}{identifier}")
        if id_node is not None:
            columns["id"] = int(id_node.get("index", ""))
        for item in node.findall(f"{_TEXT}field"):
            term = _local(item.get("term", ""))
            if item.get("index") is not None:
                columns[term] = int(item.get("index", ""))
            if item.get("default"):
                defaults[term] = item.get("default", "")
        header_lines = int(node.get("ignoreHeaderLines", "0"))
    except ValueError as error:
        raise ArchiveError("meta.xml", f"{location}: an index is not a whole number ({error})") from error
    separator = node.get("fieldsTerminatedBy", ",")
    return Table(
        row_type=node.get("rowType", ""),
        location=location,
        columns=columns,
        defaults=defaults,
        separator=_ESCAPES.get(separator, separator),
        quote=node.get("fieldsEnclosedBy", '"'),
        encoding=node.get("encoding", "UTF-8"),
        header_lines=header_lines,
    )


def _about(path: Path, location: str) -> About:
    """Title, date, licence and source out of an EML document, whatever its version."""
    if not location:
        return About()
    try:
        root = _xml(path, location)
    except ArchiveError:
        # The data can be read without; the release then bears the folder's name.
        return About()
    dataset = root.find("dataset")
    if dataset is None:
        return About()
    licence = dataset.find("intellectualRights")
    return About(
        title=" ".join(dataset.findtext("title", "").split()),
        version=" ".join(dataset.findtext("pubDate", "").split()),
        licence=" ".join("".join(licence.itertext()).split()) if licence is not None else "",
        source=" ".join(dataset.findtext("distribution/online/url", "").split()),
    )


def _xml(path: Path, location: str) -> ElementTree.Element:
    with _file(path, location) as raw:
        content = raw.read(_LONGEST_XML + 1)
    if len(content) > _LONGEST_XML or b"<!DOCTYPE" in content or b"<!ENTITY" in content:
        raise ArchiveError(location, "too large, or with declarations that no such file needs")
    try:
        return ElementTree.fromstring(content)
    except ElementTree.ParseError as error:
        raise ArchiveError(location, f"not well-formed XML: {error}", error.position[0]) from error


@contextmanager
def _file(path: Path, location: str) -> Iterator[IO[bytes]]:
    if path.is_dir():
        inside = (path / location).resolve()
        if not inside.is_relative_to(path.resolve()) or not inside.is_file():
            raise ArchiveError(location, f"expected in {path}, not found")
        with inside.open("rb") as raw:
            yield raw
        return
    try:
        with zipfile.ZipFile(path) as packed, packed.open(_member(packed, location)) as raw:
            yield raw
    except (KeyError, zipfile.BadZipFile, RuntimeError) as error:
        raise ArchiveError(location, f"cannot be read from {path.name}: {error}") from error


def _member(packed: zipfile.ZipFile, location: str) -> str:
    """The file at the top of the zip, or within the one folder that some zips have there."""
    names = packed.namelist()
    if location in names:
        return location
    below = [name for name in names if name.count("/") == 1 and name.endswith(f"/{location}")]
    if len(below) != 1:
        raise KeyError(f"no {location} inside")
    return below[0]


def _is_header(cells: Sequence[str], table: Table) -> bool:
    """A header line names a term; some archives promise one and have none.

    Words that are terms and ranks alike prove nothing: "kingdom" stands in the row of Animalia.
    """
    terms = {term.casefold() for term in table.columns} | {"taxonid", "coreid"}
    return any(_local(cell.strip()).casefold() in terms - _RANKS for cell in cells)


def _local(term: str) -> str:
    """The last part of a term: ``http://rs.tdwg.org/dwc/terms/taxonRank`` is taxonRank."""
    return term.rsplit("/", 1)[-1].rsplit(":", 1)[-1].rsplit("#", 1)[-1]
