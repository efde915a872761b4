"""Collection records as csv and as a workbook. A text that a spreadsheet would run stays text in both."""

from datetime import datetime
from os import PathLike
from typing import BinaryIO, TextIO

import xlsxwriter  # type: ignore[import-untyped]

from inventory.book.rules.days import day_in_words
from inventory.doors.output import write_rows

from ..queries.collection_records import CollectionRecords
from ..rules.collection_records import COLUMNS
from .sheets import fitting, leaning, set_up_page, write_cell


def write_csv(found: CollectionRecords, out: TextIO) -> None:
    """One header line with the columns' codes, a row each."""
    rows = ({column.code: column.of(record) for column in COLUMNS} for record in found.records)
    write_rows(rows, [column.code for column in COLUMNS], "csv", out)


def write_workbook(found: CollectionRecords, out: str | PathLike[str] | BinaryIO) -> None:
    """A sheet that says what this is, and a sheet of rows: headings in words, below them the codes."""
    options = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(out, options) as book:
        # Not when it was made: the same records give the same bytes.
        made = datetime.combine(found.as_of, datetime.min.time())
        book.set_properties({"title": found.title, "created": made})
        bold = book.add_format({"bold": True, "text_wrap": True, "valign": "bottom"})
        small = book.add_format({"italic": True, "bottom": 1})
        wrapped = book.add_format({"text_wrap": True, "valign": "top"})
        slanted = book.add_format({"italic": True})
        day = book.add_format({"num_format": "yyyy-mm-dd", "align": "left"})
        head = book.add_worksheet("Head")
        head.set_column(0, 0, 22)
        head.set_column(1, 1, 90)
        for line, (heading, words) in enumerate(head_lines(found)):
            head.write_string(line, 0, heading, bold)
            head.write_string(line, 1, words, wrapped)
        sheet = book.add_worksheet("Records")
        for i, column in enumerate(COLUMNS):
            cells = (str(column.of(record) or "") for record in found.records)
            sheet.set_column(i, i, fitting(column.heading, cells))
        # Row by row, for in constant memory a row is gone once the next begins.
        for i, column in enumerate(COLUMNS):
            sheet.write_string(0, i, column.heading, bold)
        for i, column in enumerate(COLUMNS):
            sheet.write_string(1, i, column.code, small)
        for line, record in enumerate(found.records, start=2):
            for i, column in enumerate(COLUMNS):
                value = column.of(record)
                look = slanted if leaning(column.code, value) else None
                write_cell(sheet, line, i, value, day=day, look=look)
        sheet.freeze_panes(2, 2)
        sheet.repeat_rows(0, 1)
        for each in (head, sheet):
            set_up_page(each, found.title)


def head_lines(found: CollectionRecords) -> list[tuple[str, str]]:
    """What stands over the records: whose permit, as of when, the sums, and what was made less exact."""
    version, records = found.version, found.records
    lines = [
        ("title", found.title),
        ("holder", found.permit.holder),
        ("valid", f"{day_in_words(version.valid_from)} to {day_in_words(version.valid_until)}"),
        ("as of", f"the end of {day_in_words(found.as_of)}"),
        ("house", found.house),
        ("takes", str(len(records))),
    ]
    for unit in dict.fromkeys(record.unit for record in records):
        of_unit = [record for record in records if record.unit == unit]
        lines.append(
            (
                f"sum, {unit}",
                f"{sum(r.caught for r in of_unit)} taken: {sum(r.let_go for r in of_unit)} let go alive, "
                f"{sum(r.died for r in of_unit)} died in the process, {sum(r.kept for r in of_unit)} kept",
            )
        )
    return [*lines, *(("made less exact", words) for words in found.generalised)]
