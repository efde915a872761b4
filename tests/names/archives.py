"""Writes Darwin Core Archives for tests: with the csv module or by hand, never with the reader's code."""

import csv
import io
import zipfile
from collections.abc import Sequence
from pathlib import Path
from xml.sax.saxutils import quoteattr

TERM = "http://rs.tdwg.org/dwc/terms/"
TAXON = TERM + "Taxon"
VERNACULAR = "http://rs.gbif.org/terms/1.0/VernacularName"
DISTRIBUTION = "http://rs.gbif.org/terms/1.0/Distribution"

# As GBIF publishes Taxon.tsv of its backbone (https://doi.org/10.15468/39omei, release 2023-08-28).
GBIF_COLUMNS = (
    "taxonID", "datasetID", "parentNameUsageID", "acceptedNameUsageID", "originalNameUsageID",
    "scientificName", "scientificNameAuthorship", "canonicalName", "genericName", "specificEpithet",
    "infraspecificEpithet", "taxonRank", "nameAccordingTo", "namePublishedIn", "taxonomicStatus",
    "nomenclaturalStatus", "taxonRemarks", "kingdom", "phylum", "class", "order", "family", "genus",
)  # fmt: skip

Rows = Sequence[Sequence[str]]


def table_xml(
    file: str,
    columns: Sequence[str],
    *,
    kind: str = "core",
    row_type: str = TAXON,
    separator: str = "\\t",
    quote: str = "",
    header: int = 1,
    encoding: str = "UTF-8",
    identifier: int | None = 0,
    more: str = "",
) -> str:
    """A <core> or <extension>; blank columns are told to nobody."""
    fields = "".join(
        f'<field index="{index}" term={quoteattr(term if ":" in term else TERM + term)}/>'
        for index, term in enumerate(columns)
        if term
    )
    ident = {"core": "id", "extension": "coreid"}[kind]
    return (
        f'<{kind} encoding="{encoding}" fieldsTerminatedBy="{separator}" linesTerminatedBy="\\n" '
        f'fieldsEnclosedBy={quoteattr(quote)} ignoreHeaderLines="{header}" rowType="{row_type}">'
        f"<files><location>{file}</location></files>"
        + (f'<{ident} index="{identifier}"/>' if identifier is not None else "")
        + f"{fields}{more}</{kind}>"
    )


def meta_xml(*tables: str, metadata: str = "") -> str:
    """The whole of meta.xml."""
    named = f' metadata="{metadata}"' if metadata else ""
    return f'<archive xmlns="http://rs.tdwg.org/dwc/text/"{named}>{"".join(tables)}</archive>'


def cells(text: str) -> tuple[str, ...]:
    """The values of a row, written with bars between them."""
    return tuple(text.split("|"))


def tab_lines(*rows: Sequence[str]) -> str:
    """As GBIF writes a table: tabs, no quotes."""
    return "".join("\t".join(row) + "\n" for row in rows)


def csv_lines(rows: Rows, separator: str = ",") -> str:
    """With every value in quotes."""
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=separator, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows(rows)
    return text.getvalue()


def write(folder: Path, **files: str | bytes) -> Path:
    """The files of a folder; ``meta`` is meta.xml, ``Taxon_tsv`` is Taxon.tsv."""
    folder.mkdir(parents=True, exist_ok=True)
    for key, content in files.items():
        name = "meta.xml" if key == "meta" else key.replace("_", ".")
        data = content.encode() if isinstance(content, str) else content
        (folder / name).write_bytes(data)
    return folder


def pack(folder: Path, within: str = "") -> Path:
    """The folder as a zip beside it, with its files at the top or in one folder ``within``."""
    packed = folder.with_suffix(".zip")
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
        for path in sorted(folder.iterdir()):
            file.write(path, f"{within}/{path.name}" if within else path.name)
    return packed
