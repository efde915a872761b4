"""Reads the names to check: one on each line, or a csv with a column scientificName."""

import csv
import io

from ..rules.match import Asked
from ..rules.verdicts import Classification

_COLUMNS = {
    "kingdom": "kingdom",
    "phylum": "phylum",
    "class": "class_name",
    "order": "order",
    "family": "family",
    "genus": "genus",
}


def read_lines(content: bytes) -> list[Asked]:
    """One name for each line (or, in a csv, each record below the header), in order.

    Bytes that are no UTF-8 become replacement signs: their line is answered, not refused.
    """
    text = content.decode("utf-8-sig", errors="replace")
    lines = text.split("\n")
    if lines and lines[-1] == "":
        lines.pop()
    header = [cell.strip().casefold() for cell in lines[0].rstrip("\r").split(",")] if lines else []
    if "scientificname" in (cell.strip('"') for cell in header):
        return _read_csv(text)
    return [Asked(line.removesuffix("\r")) for line in lines]


def _read_csv(text: str) -> list[Asked]:
    # Whatever a line holds gets its answer; the csv module would refuse fields beyond 128 KiB.
    csv.field_size_limit(max(csv.field_size_limit(), len(text)))
    reader = csv.reader(io.StringIO(text, newline=""))
    header = [cell.strip().casefold() for cell in next(reader)]
    name_at = header.index("scientificname")
    at = {field: header.index(column) for column, field in _COLUMNS.items() if column in header}
    rank_at = header.index("taxonrank") if "taxonrank" in header else len(header)
    asked = []
    for cells in reader:
        stated = {field: cells[index].strip() for field, index in at.items() if index < len(cells)}
        typed = cells[name_at] if name_at < len(cells) else ""
        rank = cells[rank_at].strip() if rank_at < len(cells) else ""
        asked.append(Asked(typed, Classification(**stated), rank))
    return asked
