"""A workbook (.xlsx) through openpyxl's read-only mode."""

import warnings
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any, BinaryIO

import openpyxl
from openpyxl.utils import get_column_letter

from ..rules.as_typed import Unreadable, Value, is_empty
from . import guard
from .source import NotReadable, Row, SheetBroken, Source

# ECMA-376 part 1, 18.3.1.73: more rows than any program writes; a number beyond would be counted up to.
MOST_ROWS = 1_048_576


class Workbook(Source):
    """The worksheets of an .xlsx file. A formula counts as the result that the file keeps of it.

    A file written by a program may hold formulas without results. Where there are formulas at all,
    the sheet is therefore read a second time beside the first, for formulas.
    """

    def __init__(self, path: Path) -> None:
        self.name = path.name
        guard.check(path)
        formulas = guard.holds_formulas(path)
        # openpyxl leaves a file open that it cannot read, so it is given files of ours.
        with ExitStack() as opened:
            self._results = _open(opened.enter_context(path.open("rb")), data_only=True)
            self._formulas = None
            if formulas:
                self._formulas = _open(opened.enter_context(path.open("rb")), data_only=False)
            self._opened = opened.pop_all()

    def sheets(self) -> list[str]:
        return [sheet.title for sheet in self._results.worksheets]

    def rows(self, sheet: str) -> Iterator[Row]:
        rows = self._with_formulas(sheet) if self._formulas else self._plain(sheet)
        number = 0
        while True:
            number += 1
            if number > MOST_ROWS:
                raise SheetBroken(f"row {number}", f"no sheet has more than {MOST_ROWS:,} rows; save again")
            try:
                with warnings.catch_warnings():
                    # openpyxl warns of a date out of range and gives #VALUE!, which is refused later.
                    warnings.simplefilter("ignore", UserWarning)
                    cells = next(rows, None)
            except Exception as error:
                # openpyxl raises whatever its parsing of a damaged part meets.
                message = f"the sheet is damaged here{guard.why(error)}; save it again"
                raise SheetBroken(f"row {number}", message) from error
            if cells is None:
                return
            if not all(is_empty(cell) for cell in cells):
                yield Row(number, cells)

    def close(self) -> None:
        self._results.close()
        if self._formulas:
            self._formulas.close()
        self._opened.close()

    def _plain(self, sheet: str) -> Iterator[tuple[Value, ...]]:
        return iter(_worksheet(self._results, sheet).iter_rows(values_only=True))

    def _with_formulas(self, sheet: str) -> Iterator[tuple[Value, ...]]:
        results = _worksheet(self._results, sheet).iter_rows()
        formulas = _worksheet(self._formulas, sheet).iter_rows()
        for number, (row, as_written) in enumerate(zip(results, formulas, strict=True), start=1):
            yield tuple(
                _result(cell, written, number, column)
                for column, (cell, written) in enumerate(zip(row, as_written, strict=True), start=1)
            )


def _result(cell: Any, written: Any, row: int, column: int) -> Value:
    """A cell's value; a formula without a result cannot be read. An empty text is a result."""
    if cell.value is None and written.data_type == "f" and cell.data_type != "str":
        address = f"{get_column_letter(column)}{row}"
        return Unreadable(
            f"the formula in cell {address} was saved without its result; "
            "open the workbook in a spreadsheet program and save it, or type the value"
        )
    value: Value = cell.value
    return value


def _worksheet(workbook: Any, title: str) -> Any:
    sheet = workbook[title]
    # Some programs state a size that is too small; what lies outside would be lost.
    sheet.reset_dimensions()
    return sheet


def _open(file: BinaryIO, *, data_only: bool) -> Any:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)
            return openpyxl.load_workbook(file, read_only=True, data_only=data_only, keep_links=False)
    except Exception as error:
        # openpyxl raises whatever its parsing of a damaged part meets.
        message = f"not a workbook that can be read{guard.why(error)}; save it as .xlsx again"
        raise NotReadable(message) from error
