"""A source of names out of rows that a test states, and the same rows as a store in memory."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from inventory.names.readers.source import TAXON, About, Line, Table
from inventory.names.rules.verdicts import Classification, Usage
from inventory.names.store.build import build
from inventory.names.store.read import ReleaseNames
from inventory.names.store.sqlite import SqliteReader, SqliteWriter

from .stores import MemoryStore


@dataclass
class RowSource:
    """Rows of the core by term; what a row does not say is blank."""

    records: Sequence[Mapping[str, str]]
    about: About = field(default_factory=lambda: About("rows of a test", "1"))
    remarks: list[str] = field(default_factory=list)
    synonyms_expected: bool = True
    bytes_total: int = 1
    bytes_read: int = 0

    @property
    def core(self) -> Table:
        return Table(TAXON, "rows", {}, {}, "\t", "", "UTF-8", 0)

    def table(self, row_type: str) -> Table | None:
        return None

    def rows_of(self, table: Table, terms: Sequence[str]) -> Iterator[Line]:
        for line, record in enumerate(self.records, start=1):
            yield line, tuple(record.get(term, "") for term in terms)

    def fingerprint(self) -> str:
        return f"{hash(str(self.records)):x}"


def names(*canonical: str) -> list[dict[str, str]]:
    """Rows of accepted names."""
    return [{"taxonID": str(at), "canonicalName": name} for at, name in enumerate(canonical)]


def store_file(folder: Path, records: Sequence[Mapping[str, str]]) -> ReleaseNames:
    """The rows in a SQLite file, without any main database."""
    path = folder / "store.sqlite3"
    writer = SqliteWriter(path)
    build(RowSource(records), writer, lambda step, share: None)
    writer.finish()
    return ReleaseNames(SqliteReader(path), f"{path}{path.stat().st_mtime_ns}")


def in_memory(records: Sequence[Mapping[str, str]], release: str = "") -> MemoryStore:
    """The same rows in memory."""
    usages = {record["taxonID"]: _usage(record) for record in records}
    leads_to = {record["taxonID"]: record.get("acceptedNameUsageID", "") for record in records}
    for taxon_id in leads_to:
        target = taxon_id
        while leads_to[target]:
            target = leads_to[target]
        if target != taxon_id:
            usages[taxon_id] = replace(usages[taxon_id], accepted=usages[target])
    return MemoryStore(list(usages.values()), release=release)


def _usage(record: Mapping[str, str]) -> Usage:
    above = ("kingdom", "phylum", "class", "order", "family", "genus")
    return Usage(
        taxon_id=record["taxonID"],
        canonical_name=record["canonicalName"],
        authorship=record.get("scientificNameAuthorship", ""),
        rank=record.get("taxonRank", ""),
        status=record.get("taxonomicStatus", ""),
        classification=Classification(*(record.get(term, "") for term in above)),
    )
