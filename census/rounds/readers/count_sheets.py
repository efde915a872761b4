"""Reads count sheets back from a workbook; every problem with sheet, row and column."""

import warnings
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any, BinaryIO

import openpyxl

from inventory.book.readers.guard import check, holds_formulas, why
from inventory.book.readers.source import NotReadable
from inventory.book.rules.happened import parse_moment

from ..rules.sheet_layout import COLUMNS, FORM, HEAD, HEADER_ROW, LATER, WRITE_IN
from ..rules.words import Seen
from ..rules.written import Written, read_box, read_seen, read_whole

# Rows and columns beyond these are not read: no sheet is larger, and a stray format must not cost minutes.
MOST_ROWS = 5_000
MOST_COLUMNS = 100


@dataclass(slots=True)
class PaperRow:
    """One line as written; ``line`` 0 for an animal that was written in. ``counted_at`` is aware."""

    row: int
    line: int
    name: str = ""
    written: Written = field(default_factory=Written)
    low: int | None = None
    high: int | None = None
    passes: int | None = None
    sexes: tuple[int, int, int, int] | None = None
    counted_by: str = ""
    counted_at: datetime | None = None
    remark: str = ""
    seen: dict[str, Seen] = field(default_factory=dict)


@dataclass(slots=True)
class Paper:
    """One count sheet as it came back."""

    worksheet: str
    number: str
    round: int
    rows: list[PaperRow]


def read_sheets(path: Path, zone: tzinfo) -> tuple[list[Paper], list[str]]:
    """The count sheets of a workbook, and what is wrong with them: "sheet X, row 12, column count: ..."

    Raises :class:`NotReadable` when the file is no workbook.
    """
    check(path)
    holds_formulas(path)  # looks into the parts for what no workbook has
    problems: list[str] = []
    papers = []
    # openpyxl leaves a file open that it cannot read, so it is given one of ours.
    with path.open("rb") as file, closing(_opened(file)) as book:
        for page in book.worksheets:
            found = _read_page(page.title, _cells(page), zone, problems)
            if found is not None:
                papers.append(found)
    if not papers and not problems:
        problems.append(f"no worksheet is a count sheet: {FORM!r} is expected in cell A1")
    return papers, problems


def _opened(file: BinaryIO) -> Any:
    with warnings.catch_warnings():
        # openpyxl warns of what it leaves out, such as a date out of range.
        warnings.simplefilter("ignore", UserWarning)
        try:
            return openpyxl.load_workbook(file, read_only=True, data_only=True, keep_links=False)
        except Exception as error:  # openpyxl raises whatever its parser does
            raise NotReadable(f"the workbook is damaged{why(error)}; save it again") from error


def _cells(page: Any) -> list[list[Any]]:
    """All cells of a worksheet. Raises :class:`NotReadable` with the row from which it cannot be read."""
    cells: list[list[Any]] = []
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            for row in page.iter_rows(max_row=MOST_ROWS, max_col=MOST_COLUMNS, values_only=True):
                cells.append(list(row))
    except Exception as error:  # openpyxl raises whatever its parser does
        raise NotReadable(
            f"sheet {page.title}, row {len(cells) + 1}: it is damaged here{why(error)}; save it again"
        ) from error
    return cells


def _read_page(title: str, cells: list[list[Any]], zone: tzinfo, problems: list[str]) -> Paper | None:
    if not cells or _text(cells[0][0] if cells[0] else None) != FORM:
        return None
    head = {
        label: _cell(cells, row, 1) for row, label in enumerate(HEAD) if _text(_cell(cells, row, 0)) == label
    }
    header = [_text(cell) for cell in cells[HEADER_ROW - 1]] if len(cells) >= HEADER_ROW else []
    missing = [name for name in COLUMNS if name not in header and name not in LATER]
    if missing:
        problems.append(f"sheet {title}, row {HEADER_ROW}: no column {', '.join(missing)}")
        return None
    unknown = [name for name in header if name and name not in COLUMNS]
    if unknown:
        problems.append(f"sheet {title}, row {HEADER_ROW}: unknown column {', '.join(unknown)}")
        return None
    page = _Page(title, header, zone, problems)
    counted_at = page.read("B6", "Counted at", lambda text: _moment(text, zone), head.get("Counted at"))
    round_ = page.read("B4", "Count", read_whole, head.get("Count")) or 1
    rows: dict[int, PaperRow] = {}
    written_in = []
    for number, values in enumerate(cells[HEADER_ROW:], start=HEADER_ROW + 1):
        row = page.row(number, values, rows)
        if row is not None and row.line == 0:
            written_in.append(row)
    for row in (*rows.values(), *written_in):
        row.counted_by = row.counted_by or _text(head.get("Counted by"))
        row.counted_at = row.counted_at or counted_at
    return Paper(title, _text(head.get(FORM)), round_, [*rows.values(), *written_in])


class _Page:
    """Reads the rows of one worksheet and collects what is wrong."""

    def __init__(self, title: str, header: list[str], zone: tzinfo, problems: list[str]) -> None:
        self.title = title
        self.header = header
        self.zone = zone
        self.problems = problems

    def read(self, where: str, column: str, reader: Callable[[str], Any], value: Any) -> Any:
        try:
            return reader(_text(value))
        except ValueError as error:
            self.problems.append(f"sheet {self.title}, {where}, column {column}: {error}")
            return None

    def row(self, number: int, values: list[Any], rows: dict[int, PaperRow]) -> PaperRow | None:
        """Reads one row; the rows of individuals join the row of their line."""
        texts = dict(zip(self.header, values, strict=False))
        where = f"row {number}"
        first = _text(texts.get("line"))
        boxes = [_text(texts.get(name)) for name in COLUMNS[COLUMNS.index("count") :]]
        if not first and not any(boxes):
            return None
        if first == WRITE_IN:
            name = _text(texts.get("name"))
            if not name and not any(boxes):
                return None
            return self._fill(PaperRow(number, 0, name), where, texts)
        line = self.read(where, "line", read_whole, first)
        if line is None:
            if not first:
                self.problems.append(f"sheet {self.title}, {where}, column line: the line number is missing")
            return None
        individual = _text(texts.get("individual"))
        if individual:
            seen = self.read(where, "seen", read_seen, texts.get("seen"))
            if seen is not None:
                rows.setdefault(line, PaperRow(number, line)).seen[individual] = seen
            return None
        row = self._fill(rows.setdefault(line, PaperRow(number, line)), where, texts)
        rows[line] = row
        return row

    def _fill(self, row: PaperRow, where: str, texts: dict[str, Any]) -> PaperRow:
        def read(column: str, reader: Callable[[str], Any]) -> Any:
            return self.read(where, column, reader, texts.get(column))

        presence = _text(texts.get("class")) == "D"
        row.written = read("count", lambda text: read_box(text, presence=presence)) or Written()
        row.low, row.high = read("lowest", read_whole), read("highest", read_whole)
        row.passes = read("passes", read_whole)
        sexes = [read(name, read_whole) for name in ("males", "females", "hermaphrodites", "unknown")]
        if any(n is not None for n in sexes):
            males, females, hermaphrodites, unknown = (n or 0 for n in sexes)
            row.sexes = (males, females, hermaphrodites, unknown)
        row.counted_by = _text(texts.get("counted by"))
        row.counted_at = read("counted at", lambda text: _moment(text, self.zone))
        row.remark = _text(texts.get("remark"))
        return row


def _moment(text: str, zone: tzinfo) -> datetime | None:
    return parse_moment(text, zone) if text else None


def _cell(cells: list[list[Any]], row: int, column: int) -> Any:
    return cells[row][column] if row < len(cells) and column < len(cells[row]) else None


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    if isinstance(value, datetime):
        return value.isoformat(timespec="minutes")
    return str(value).strip()
