"""Where each sheet of the workbook keeps what, and how a sheet is printed."""

from collections.abc import Iterable
from dataclasses import dataclass
from textwrap import wrap
from typing import Any

from xlsxwriter.utility import xl_col_to_name  # type: ignore[import-untyped]

from ..queries.report import Report, Row
from ..rules.columns import COLUMNS

HEAD, BY_TAXON, BY_PLACE, PROOF = "Head", "By taxon", "By place", "Proof"
# Line of the headings, counted from 0; the rows begin on the next.
HEADINGS_AT = 3
# Height of a line of words in points, and the highest row that a spreadsheet takes.
LINE_HIGH, HIGHEST = 15.0, 405.0
# Of the letters that a column is wide, those that surely stand in it: bold ones are wider.
SURE = 0.88


@dataclass(frozen=True, slots=True)
class Layout:
    """Where a sheet keeps what: its leading columns, then those of the contract."""

    name: str
    leading: tuple[str, ...]

    def column(self, column: str) -> str:
        """Letter of a column of the contract, or of a leading one."""
        if column in self.leading:
            return _letter(self.leading.index(column))
        return _letter(len(self.leading) + COLUMNS.index(column))

    def cell(self, column: str, line: int) -> str:
        """Reference to a cell from another sheet; ``line`` counts the rows from 0."""
        return f"'{self.name}'!{self.column(column)}{HEADINGS_AT + 2 + line}"

    def whole(self, column: str, lines: int) -> str:
        """Reference to a column of ``lines`` rows."""
        letter, first = self.column(column), HEADINGS_AT + 2
        return f"'{self.name}'!${letter}${first}:${letter}${first + max(lines, 1) - 1}"


TAXON_LAYOUT = Layout(BY_TAXON, ("phylum", "class", "family", "name", "common name", "unit"))
PLACE_LAYOUT = Layout(BY_PLACE, ("place", "name", "common name", "unit"))


def _letter(number: int) -> str:
    return str(xl_col_to_name(number))


def in_order(report: Report, layout: Layout) -> list[Row]:
    """By taxon the rows stand in the order of the classification."""
    if layout is not TAXON_LAYOUT:
        return list(report.rows)
    return sorted(
        report.rows,
        key=lambda row: (
            *(row.taxon.phylum, row.taxon.class_name, row.taxon.family),
            *(row.taxon.scientific_name, row.unit),
        ),
    )


def open_row(sheet: Any, at: int, cells: Iterable[tuple[str, float]]) -> None:
    """Makes a row as high as the words in its cells need, each in a column of so many letters. Not every
    program finds that out by itself, and words then lie over each other. Comes before the cells.
    """
    lines = 1
    for text, width in cells:
        if len(text) > width * SURE:
            lines = max(lines, len(wrap(text, max(1, int(width * SURE)))))
    if lines > 1:
        sheet.set_row(at, min(lines * LINE_HIGH, HIGHEST))


def set_up_page(sheet: Any, title: str) -> None:
    """Landscape A4, as wide as one page, with the title and page numbers in the foot."""
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)
    # An ampersand begins a code in a foot line.
    sheet.set_footer(f"&L{title.replace('&', '&&')}&RPage &P of &N")
