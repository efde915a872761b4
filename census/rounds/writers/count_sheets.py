"""Writes count sheets as a workbook: the list and empty boxes, nothing else."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any, BinaryIO

import xlsxwriter  # type: ignore[import-untyped]  # it ships no types

from ..queries.blind import BlindIndividual, BlindLine, BlindSheet
from ..rules.sheet_layout import BOXES, COLUMNS, HEAD, HEADER_ROW, RULE, WRITE_IN, WRITE_IN_ROWS

_WIDTHS = {"name": 32, "common name": 24, "marks": 24, "individual": 16, "remark": 30, "counted by": 20}


def write_sheets(sheets: Iterable[BlindSheet], out: Path | BinaryIO) -> None:
    """One worksheet for each count sheet, in one workbook."""
    with xlsxwriter.Workbook(str(out) if isinstance(out, Path) else out) as book:
        formats = {
            "head": book.add_format({"bold": True}),
            "header": book.add_format({"bold": True, "bottom": 1, "text_wrap": True}),
            "name": book.add_format({"italic": True}),
            # Text, so that a letter, a blank and "at least 22" come back as they were typed.
            "box": book.add_format({"border": 1, "num_format": "@"}),
        }
        for sheet in sheets:
            _write_sheet(book.add_worksheet(sheet.number[:31]), sheet, formats)


def _write_sheet(page: Any, sheet: BlindSheet, formats: dict[str, Any]) -> None:
    counter = sheet.counters[0] if len(sheet.counters) == 1 else ""
    values = (
        sheet.number,
        f"{sheet.place} {sheet.place_name}",
        sheet.list_version,
        str(sheet.round),
        counter,
        "",
    )
    for row, (label, value) in enumerate(zip(HEAD, values, strict=True)):
        page.write_string(row, 0, label, formats["head"])
        page.write_string(row, 1, value)
    page.write_string(len(HEAD), 0, RULE)
    for column, name in enumerate(COLUMNS):
        page.write_string(HEADER_ROW - 1, column, name, formats["header"])
        page.set_column(column, column, _WIDTHS.get(name, 11))
    row = HEADER_ROW
    for line in sheet.lines:
        row = _write_line(page, row, line, formats)
    for _ in range(WRITE_IN_ROWS if sheet.round == 1 else 0):
        page.write_string(row, 0, WRITE_IN)
        _empty_boxes(page, row, formats)
        row += 1
    page.freeze_panes(HEADER_ROW, 3)
    page.set_landscape()
    page.set_paper(9)
    page.repeat_rows(HEADER_ROW - 1)
    page.fit_to_pages(1, 0)
    page.set_footer(f"&L{sheet.number}, list version {sheet.list_version}&R&P / &N")


def _write_line(page: Any, row: int, line: BlindLine, formats: dict[str, Any]) -> int:
    """Writes the line and, for known individuals, one row for each; gives the next free row."""
    page.write_number(row, 0, line.number)
    listed = (line.place, line.name, line.common_name, line.unit, line.count_class, "", line.marks)
    for column, text in enumerate(listed, start=1):
        page.write_string(row, column, text, formats["name"] if column == 2 else None)
    _empty_boxes(page, row, formats)
    row += 1
    for individual in line.individuals:
        _write_individual(page, row, line, individual, formats)
        row += 1
    return row


def _write_individual(
    page: Any, row: int, line: BlindLine, individual: BlindIndividual, formats: dict[str, Any]
) -> None:
    page.write_number(row, 0, line.number)
    page.write_string(row, COLUMNS.index("individual"), individual.accession)
    named = ", ".join(part for part in (individual.house_name, individual.marks) if part)
    page.write_string(row, COLUMNS.index("marks"), named)
    page.write_blank(row, COLUMNS.index("seen"), None, formats["box"])


def _empty_boxes(page: Any, row: int, formats: dict[str, Any]) -> None:
    for name in BOXES:
        if name != "seen":
            page.write_blank(row, COLUMNS.index(name), None, formats["box"])
