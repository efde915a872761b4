"""The whole book as one workbook: a sheet for each table, more where a table is longer than a sheet may be.

Written row by row in constant memory. Texts are written as texts, never as formulas or links.
"""

from collections.abc import Iterable, Iterator
from decimal import Decimal
from os import PathLike
from typing import Any, BinaryIO

import xlsxwriter  # type: ignore[import-untyped]

from ..queries.rows import Row
from ..rules.shapes import Table
from .comma import text_of

# Limits of spreadsheets (from memory): rows of a sheet, letters of a cell, letters of a sheet's name.
ROWS_OF_A_SHEET = 1_048_576
_LETTERS_OF_A_CELL = 32_767
_LETTERS_OF_A_NAME = 31


class Book:
    """An open workbook. ``cut`` counts the texts that were longer than a cell holds, by table."""

    def __init__(
        self, out: str | PathLike[str] | BinaryIO, *, rows_of_a_sheet: int = ROWS_OF_A_SHEET
    ) -> None:
        options = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
        self._book = xlsxwriter.Workbook(out, options)
        self._bold = self._book.add_format({"bold": True, "bottom": 1})
        self._longest = rows_of_a_sheet
        self.cut: dict[str, int] = {}

    def close(self) -> None:
        self._book.close()

    def write(self, table: Table, batches: Iterable[list[Row]]) -> Iterator[int]:
        """Writes a table; says after each batch how many rows it was."""
        turns = [text_of(column.kind) for column in table.columns]
        headings = [column.name for column in table.columns]
        sheet, number, at = self._sheet(table.name, 1, headings), 1, 1
        for batch in batches:
            for row in batch:
                if at == self._longest:
                    number += 1
                    sheet, at = self._sheet(table.name, number, headings), 1
                for place, (turn, value) in enumerate(zip(turns, row, strict=True)):
                    self._put(sheet, table.name, at, place, turn(value))
                at += 1
            yield len(batch)

    def write_plain(self, name: str, headings: list[str], rows: Iterable[Iterable[Any]]) -> None:
        """A sheet that is no table of the book."""
        sheet = self._sheet(name, 1, headings)
        for at, row in enumerate(rows, start=1):
            for place, value in enumerate(row):
                self._put(sheet, name, at, place, value)

    def _sheet(self, name: str, number: int, headings: list[str]) -> Any:
        ending = f" {number}" if number > 1 else ""
        sheet = self._book.add_worksheet(name[: _LETTERS_OF_A_NAME - len(ending)] + ending)
        sheet.freeze_panes(1, 0)
        for place, heading in enumerate(headings):
            sheet.write_string(0, place, heading, self._bold)
        return sheet

    def _put(self, sheet: Any, table: str, at: int, place: int, value: Any) -> None:
        if value is None or value == "":
            return
        if isinstance(value, int | Decimal):
            sheet.write_number(at, place, value)
            return
        if len(value) > _LETTERS_OF_A_CELL:
            self.cut[table] = self.cut.get(table, 0) + 1
            value = value[:_LETTERS_OF_A_CELL]
        sheet.write_string(at, place, value)
