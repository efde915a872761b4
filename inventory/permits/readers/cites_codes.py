"""The lists of CITES codes as they lie in ``fixtures/lists/cites_codes``: head rows, then a row a code."""

import csv
from functools import cache
from pathlib import Path

from ..rules.cites import Code, CodeList

FOLDER = Path(__file__).resolve().parents[3] / "fixtures" / "lists" / "cites_codes"
HEAD = ("list", "source", "source_date", "mark")
COLUMNS = ("code", "words", "was", "mark", "note")
SOURCE, PURPOSE, TERMS, UNITS = "source", "purpose", "terms", "units"


class BadCodeList(ValueError):
    """A file of codes that cannot be read; the message says where and what was expected."""


@cache
def code_list(name: str) -> CodeList:
    """One of the lists; read once in the life of a process. Raises :class:`BadCodeList`."""
    return read_code_list(FOLDER / f"{name}.csv")


def read_code_list(path: Path) -> CodeList:
    """Reads a file. Raises :class:`BadCodeList`."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.reader(file))
    except (OSError, UnicodeDecodeError) as error:
        raise BadCodeList(f"{path.name} cannot be read: {error}") from error
    head = {row[0]: row[1] for row in rows[: len(HEAD)] if len(row) >= 2}
    missing = [name for name in HEAD if not head.get(name)]
    if missing or len(rows) <= len(HEAD) or tuple(rows[len(HEAD)]) != COLUMNS:
        raise BadCodeList(
            f"{path.name}: expected the head rows {', '.join(HEAD)}, then the columns {', '.join(COLUMNS)}"
        )
    codes: dict[str, Code] = {}
    for number, row in enumerate(rows[len(HEAD) + 1 :], start=len(HEAD) + 2):
        cells = [cell.strip() for cell in row]
        if len(cells) != len(COLUMNS) or not cells[0] or not cells[1]:
            raise BadCodeList(f"{path.name}, row {number}: expected {', '.join(COLUMNS)}")
        if cells[0] in codes:
            raise BadCodeList(f"{path.name}, row {number}: the code {cells[0]} stands there already")
        codes[cells[0]] = Code(cells[0], cells[1], cells[2], cells[3] or head["mark"], cells[4])
    return CodeList(head["list"], head["source"], head["source_date"], head["mark"], codes)
