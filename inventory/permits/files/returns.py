"""A return as csv, as a workbook and as a printed form: the same statement gives the same bytes."""

from datetime import datetime
from io import BytesIO, StringIO

import xlsxwriter  # type: ignore[import-untyped]

from inventory.doors.output import write_rows

from ..rules.statements import Statement
from .return_pdf import write_form
from .sheets import fitting, leaning, set_up_page, write_cell

CSV, XLSX, PDF = "csv", "xlsx", "pdf"


def write_return(statement: Statement, form: str) -> bytes:
    """The content of one file of a return."""
    if form == CSV:
        return _csv(statement)
    if form == XLSX:
        return _workbook(statement)
    return write_form(statement)


def _csv(statement: Statement) -> bytes:
    """One header line with the template's headings, a row each."""
    columns = statement.columns
    rows = ({one.heading: row.cell(one.code) for one in columns} for row in statement.rows)
    text = StringIO()
    write_rows(rows, [one.heading for one in columns], "csv", text)
    return text.getvalue().encode()


def _workbook(statement: Statement) -> bytes:
    """A sheet that says what this is, and the rows under the template's headings."""
    out = BytesIO()
    with xlsxwriter.Workbook(out, {"strings_to_formulas": False, "strings_to_urls": False}) as book:
        made = datetime.combine(statement.made_on, datetime.min.time())
        book.set_properties({"title": statement.title, "created": made})
        bold = book.add_format({"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 1})
        wrapped = book.add_format({"text_wrap": True, "valign": "top"})
        slanted = book.add_format({"italic": True})
        day = book.add_format({"num_format": "yyyy-mm-dd", "align": "left"})
        head = book.add_worksheet("Head")
        head.set_column(0, 0, 22, bold)
        head.set_column(1, 1, 90, wrapped)
        lines = [*statement.head, ("fingerprint", statement.fingerprint)]
        for number, (heading, words) in enumerate(lines):
            head.write_string(number, 0, heading, bold)
            head.write_string(number, 1, words, wrapped)
        sheet = book.add_worksheet("Return")
        for i, one in enumerate(statement.columns):
            cells = (str(row.cell(one.code) or "") for row in statement.rows)
            sheet.set_column(i, i, fitting(one.heading, cells))
        for i, one in enumerate(statement.columns):
            sheet.write_string(0, i, one.heading, bold)
        for number, row in enumerate(statement.rows, start=1):
            for i, one in enumerate(statement.columns):
                look = slanted if leaning(one.code, row.cell(one.code)) else None
                write_cell(sheet, number, i, row.cell(one.code), day=day, look=look)
        sheet.freeze_panes(1, 1)
        sheet.repeat_rows(0)
        for each in (head, sheet):
            set_up_page(each, statement.title)
    return out.getvalue()
