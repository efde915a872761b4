"""The yearly table of trade as csv and as a workbook."""

from datetime import date, datetime, time
from io import BytesIO, StringIO

import xlsxwriter  # type: ignore[import-untyped]

from inventory.doors.output import write_rows

from ..queries.cites import YearOfTrade
from ..rules.cites import COLUMNS
from .sheets import leaning, set_up_page

NOTE = "This is the house's own record, from which the management authority is told. It is no permit."


def trade_csv(found: YearOfTrade) -> bytes:
    """One header line, a row each."""
    text = StringIO()
    write_rows([row.values for row in found.rows], COLUMNS, "csv", text)
    return text.getvalue().encode()


def trade_workbook(found: YearOfTrade, *, house: str) -> bytes:
    """A sheet with what it is over the table; the same year gives the same bytes."""
    out = BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(out, options) as book:
        title = f"Trade in listed species, {found.year}"
        book.set_properties({"title": title, "created": datetime.combine(date(found.year, 12, 31), time())})
        slanted = book.add_format({"italic": True})
        bold, small = book.add_format({"bold": True}), book.add_format({"italic": True})
        sheet = book.add_worksheet(str(found.year))
        sheet.write_string(0, 0, f"{house}: {title}", bold)
        sheet.write_string(1, 0, NOTE, small)
        open_words = f"{len(found.open)} events are not stated yet" if found.open else "every event is stated"
        sheet.write_string(2, 0, open_words, small)
        for i, column in enumerate(COLUMNS):
            sheet.write_string(4, i, column, bold)
        for line, row in enumerate(found.rows, start=5):
            for i, column in enumerate(COLUMNS):
                value = row.values[column]
                if column == "quantity" and value is not None:
                    sheet.write_number(line, i, value)
                elif value:
                    sheet.write_string(line, i, str(value), slanted if leaning(column, value) else None)
        sheet.freeze_panes(5, 1)
        sheet.repeat_rows(4)
        sheet.set_column(0, 0, 32)
        sheet.set_column(1, len(COLUMNS) - 1, 12)
        set_up_page(sheet, title)
    return out.getvalue()
