"""Collection records as a Darwin Core Archive: a zip of text files, meta.xml and eml.xml.

Cells are written as they are, letter by letter, tab between them, for programs read these files; line
breaks and tabs inside a cell become blanks. The same records give the same bytes.
"""

import zipfile
from collections.abc import Iterable
from os import PathLike
from typing import BinaryIO
from xml.etree import ElementTree as ET

from ..queries.collection_records import CollectionRecords
from ..rules.darwin_core import (
    MEASUREMENTS,
    OCCURRENCES,
    PERMITS,
    TABLES,
    Cells,
    Table,
    measurement_rows,
    occurrence_rows,
    permit_rows,
)

_TEXT = "http://rs.tdwg.org/dwc/text/"
_EML = "https://eml.ecoinformatics.org/eml-2.2.0"
# The first moment that a zip can state.
_NO_MOMENT = (1980, 1, 1, 0, 0, 0)


def write_archive(found: CollectionRecords, out: str | PathLike[str] | BinaryIO) -> None:
    """Writes the archive to a path or an open binary file."""
    rows = {
        OCCURRENCES: occurrence_rows(found.records, house=found.house, dataset=found.title),
        PERMITS: permit_rows(found.records),
        MEASUREMENTS: measurement_rows(found.records),
    }
    files = {"meta.xml": _meta(), "eml.xml": _eml(found)}
    files |= {table.file: _text(table, rows[table]) for table in TABLES}
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in files.items():
            info = zipfile.ZipInfo(name, _NO_MOMENT)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = 0o644 << 16
            info.create_system = 3
            archive.writestr(info, content)


def _text(table: Table, rows: Iterable[Cells]) -> bytes:
    head = ["id", *(term.rpartition("/")[2] for term in table.terms)]
    lines = ["\t".join(" ".join(cell.split()) for cell in row) for row in (head, *rows)]
    return ("\n".join(lines) + "\n").encode()


def _meta() -> bytes:
    """What each file is and which term each of its columns."""
    root = ET.Element("archive", {"xmlns": _TEXT, "metadata": "eml.xml"})
    for table in TABLES:
        core = table is OCCURRENCES
        element = ET.SubElement(
            root,
            "core" if core else "extension",
            {
                "encoding": "UTF-8",
                "fieldsTerminatedBy": "\\t",
                "linesTerminatedBy": "\\n",
                "fieldsEnclosedBy": "",
                "ignoreHeaderLines": "1",
                "rowType": table.row_type,
            },
        )
        ET.SubElement(ET.SubElement(element, "files"), "location").text = table.file
        ET.SubElement(element, "id" if core else "coreid", {"index": "0"})
        for index, term in enumerate(table.terms, start=1):
            ET.SubElement(element, "field", {"index": str(index), "term": term})
    return _xml(root)


def _eml(found: CollectionRecords) -> bytes:
    """Who gives the records, what they hold, and what was made less exact."""
    version = found.version
    root = ET.Element(
        "eml:eml",
        {
            "xmlns:eml": _EML,
            "packageId": f"{found.permit.number}/{found.as_of}",
            "system": "Tidetally",
            "scope": "system",
        },
    )
    dataset = ET.SubElement(root, "dataset")
    ET.SubElement(dataset, "title").text = found.title
    _organisation(dataset, "creator", found.house)
    _organisation(dataset, "metadataProvider", found.house)
    ET.SubElement(dataset, "pubDate").text = found.as_of.isoformat()
    ET.SubElement(dataset, "language").text = "en"
    abstract = ET.SubElement(dataset, "abstract")
    paragraphs = [
        f"What {found.permit.holder} took under permit {found.permit.number} of "
        f"{found.permit.authority.name}, valid {version.valid_from} to {version.valid_until}, as of the end "
        f"of {found.as_of}: caught, let go alive, died before it entered the collection, kept.",
        "Each take is one occurrence for each thing that became of its animals. “7 to 20 (13.5)” is the "
        "least, the most and the even share of animals that stand in pools of several sources.",
        *found.generalised,
    ]
    for words in paragraphs:
        ET.SubElement(abstract, "para").text = words
    rights = ET.SubElement(dataset, "intellectualRights")
    ET.SubElement(
        rights, "para"
    ).text = "Made for the authority that issued the permit; not published by being sent."
    _organisation(dataset, "contact", found.house)
    return _xml(root)


def _organisation(parent: ET.Element, role: str, name: str) -> None:
    ET.SubElement(ET.SubElement(parent, role), "organizationName").text = name


def _xml(root: ET.Element) -> bytes:
    ET.indent(root)
    content: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return content + b"\n"
