"""Reads one table of names by itself, with no meta.xml: ``Taxon.tsv``, or a ``.txt`` or ``.csv``."""

from collections.abc import Sequence
from pathlib import Path

from .headers import names_terms
from .meta import local
from .source import TAXON, ArchiveError, Table
from .tables import LONGEST_LINE

SUFFIXES = {".tsv", ".txt", ".csv"}

# The order in which GBIF publishes Taxon.tsv of its backbone; assumed only when there is no header
# line and the number of columns is the same.
# Source: meta.xml of the GBIF Backbone Taxonomy, https://doi.org/10.15468/39omei, release 2023-08-28.
GBIF_ORDER = (
    "taxonID", "datasetID", "parentNameUsageID", "acceptedNameUsageID", "originalNameUsageID",
    "scientificName", "scientificNameAuthorship", "canonicalName", "genericName", "specificEpithet",
    "infraspecificEpithet", "taxonRank", "nameAccordingTo", "namePublishedIn", "taxonomicStatus",
    "nomenclaturalStatus", "taxonRemarks", "kingdom", "phylum", "class", "order", "family", "genus",
)  # fmt: skip
# Darwin Core terms of a taxon that other publishers add (https://dwc.tdwg.org/terms/#taxon).
_OTHERS = (
    "id", "scientificNameID", "taxonConceptID", "acceptedNameUsage", "parentNameUsage", "originalNameUsage",
    "higherClassification", "superfamily", "subfamily", "tribe", "subtribe", "subgenus",
    "infragenericEpithet", "cultivarEpithet", "verbatimTaxonRank", "vernacularName", "nomenclaturalCode",
    "source", "references", "modified", "language", "license", "bibliographicCitation", "datasetName",
)  # fmt: skip
_KNOWN = {term.casefold(): term for term in (*GBIF_ORDER, *_OTHERS)}
_NAMES = ("scientificName", "canonicalName")


def plain_table(path: Path, remarks: list[str]) -> Table:
    """What the file's first line says of its columns. Raises :class:`ArchiveError`.

    Whether the file is UTF-8 is found out when it is read; the first line alone is looked at here.
    """
    with path.open("rb") as raw:
        line = raw.readline(LONGEST_LINE).decode("utf-8-sig", errors="replace").rstrip("\r\n")
    if not line.strip():
        raise ArchiveError(path.name, "expected a line of column names or of data, found a blank one", 1)
    separator = _separator(path, line)
    quote = "" if separator == "\t" else '"'
    cells = [cell.strip().strip(quote or None) for cell in line.split(separator)]
    has_header = names_terms(cells, set(_KNOWN))
    columns = _named(cells, path.name, remarks) if has_header else _gbif(cells, path.name, remarks)
    return Table(TAXON, path.name, columns, {}, separator, quote, "UTF-8", int(has_header))


def _separator(path: Path, line: str) -> str:
    if "\t" in line or path.suffix.casefold() == ".tsv":
        return "\t"
    return max(",;", key=line.count)


def _named(cells: Sequence[str], file: str, remarks: list[str]) -> dict[str, int]:
    columns: dict[str, int] = {}
    unknown = []
    for index, cell in enumerate(cells):
        term = _KNOWN.get(local(cell).casefold())
        if term is None:
            unknown.append(cell)
        elif term in columns:
            raise ArchiveError(file, f"column {index + 1} is {term}, as column {columns[term] + 1} is", 1)
        else:
            columns[term] = index
    if not {"taxonID", "id"} & set(columns) or not set(_NAMES) & set(columns):
        what = f"expected columns taxonID and {' or '.join(_NAMES)}, found {', '.join(cells)}"
        raise ArchiveError(file, what, 1)
    if unknown:
        remarks.append(f"{file}: no term of Darwin Core, so not read: {', '.join(unknown)}")
    return columns


def _gbif(cells: Sequence[str], file: str, remarks: list[str]) -> dict[str, int]:
    if len(cells) != len(GBIF_ORDER):
        what = (
            f"no column names, and {len(cells)} columns; expected a line with taxonID, scientificName "
            f"and so on, or the {len(GBIF_ORDER)} columns of the GBIF backbone"
        )
        raise ArchiveError(file, what, 1)
    remarks.append(f"{file}: no header line; read in the order in which GBIF publishes its backbone")
    return {term: index for index, term in enumerate(GBIF_ORDER)}
