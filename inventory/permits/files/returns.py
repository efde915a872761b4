"""A return as csv, as a workbook and as a printed form: the same statement gives the same bytes."""

from datetime import date, datetime
from decimal import Decimal
from io import BytesIO, StringIO

import xlsxwriter  # type: ignore[import-untyped]

from inventory.doors.output import write_rows

from ..rules.statements import Statement
from .return_pdf import write_form

CSV, XLSX, PDF = "csv", "xlsx", "pdf"
_WIDTH = 18


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
        head = book.add_worksheet("Head")
        head.set_column(0, 0, 22, bold)
        head.set_column(1, 1, 90, wrapped)
        lines = [*statement.head, ("fingerprint", statement.fingerprint)]
        for number, (heading, words) in enumerate(lines):
            head.write_string(number, 0, heading, bold)
            head.write_string(number, 1, words, wrapped)
        sheet = book.add_worksheet("Return")
        sheet.set_column(0, len(statement.columns), _WIDTH)
        for i, one in enumerate(statement.columns):
            sheet.write_string(0, i, one.heading, bold)
        for number, row in enumerate(statement.rows, start=1):
            for i, one in enumerate(statement.columns):
                value = row.cell(one.code)
                if isinstance(value, int | Decimal):
                    sheet.write_number(number, i, value)
                elif value is not None and value != "":
                    sheet.write_string(number, i, value.isoformat() if isinstance(value, date) else value)
        sheet.freeze_panes(1, 1)
        sheet.repeat_rows(0)
        sheet.set_landscape()
        sheet.set_paper(9)
        sheet.fit_to_pages(1, 0)
    return out.getvalue()
