"""The population change as a workbook: head, by taxon, by place, and a sheet that proves the sums.

Written row by row in constant memory. Numbers are numbers, the proof is live formulas whose
values are written beside them for readers that do not calculate.
"""

from datetime import datetime, tzinfo
from os import PathLike
from typing import Any, BinaryIO

import xlsxwriter  # type: ignore[import-untyped]

from ..queries.head import Head, report_head
from ..queries.report import Report, Row, change_reports, value_of
from ..rules.columns import COLUMNS, HEADINGS
from ..rules.question import By, Question
from ..rules.words import NOT_OVER, moment_in_words, running_in_words, ties_in_words
from .layout import HEAD, HEADINGS_AT, PLACE_LAYOUT, TAXON_LAYOUT, Layout, in_order, open_row, set_up_page
from .proof import write_proof

# In letters.
_WIDE_FACT, _WIDE_SAID, _WIDE_LEAD, _WIDE_FIGURE = 18, 90, 18, 11
_MOST = "died within 30 days, most"


def write_workbook(
    question: Question, out: str | PathLike[str] | BinaryIO, *, made_at: datetime, zone: tzinfo
) -> None:
    """Writes the workbook of ``question`` to a path or an open binary file.

    It always holds the sheets by taxon and by place; another grouping gets a sheet of its own.
    """
    groupings = [By.TAXON, By.PLACE, *({question.by} - {By.TAXON, By.PLACE})]
    taxon, place, *others = change_reports(question, groupings, zone=zone)
    head = report_head(taxon, zone=zone)
    options = {"constant_memory": True, "default_date_format": "yyyy-mm-dd"}
    with xlsxwriter.Workbook(out, options) as book:
        book.set_properties(
            {"title": head.title, "subject": "population change", "created": made_at.replace(tzinfo=None)}
        )
        look = _look(book)
        _write_head(book, look, head, taxon, made_at=made_at, zone=zone)
        _write_rows(book, look, head, taxon, TAXON_LAYOUT)
        _write_rows(book, look, head, place, PLACE_LAYOUT)
        for other in others:
            by = other.question.by.value
            _write_rows(book, look, head, other, Layout(f"By {by}", (by, "name", "common name", "unit")))
        write_proof(book, look, head.title, (taxon, TAXON_LAYOUT), (place, PLACE_LAYOUT))


def _look(book: xlsxwriter.Workbook) -> dict[str, Any]:
    return {
        "title": book.add_format({"bold": True, "font_size": 14}),
        "heading": book.add_format({"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 1}),
        "heading number": book.add_format(
            {"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 1, "align": "right"}
        ),
        "fact": book.add_format({"bold": True, "text_wrap": True, "valign": "top"}),
        "text": book.add_format({"text_wrap": True, "valign": "top"}),
        # Males, females and unknown stand as the numbers do.
        "number": book.add_format({"num_format": "0", "align": "right"}),
        "total number": book.add_format({"bold": True, "top": 1, "num_format": "0", "align": "right"}),
        "name": book.add_format({"italic": True}),
        "total": book.add_format({"bold": True, "top": 1, "num_format": "0"}),
    }


def _write_head(
    book: xlsxwriter.Workbook,
    look: dict[str, Any],
    head: Head,
    report: Report,
    *,
    made_at: datetime,
    zone: tzinfo,
) -> None:
    sheet = book.add_worksheet(HEAD)
    sheet.set_column(0, 0, _WIDE_FACT)
    sheet.set_column(1, 1, _WIDE_SAID)
    sheet.write_string(0, 0, head.title, look["title"])
    running = running_in_words(report.question, made_at.astimezone(zone).date())
    lines = [
        *head.lines,
        *([(NOT_OVER, running)] if running else []),
        ("made", moment_in_words(made_at, zone)),
        ("check", ties_in_words(report.named_untied)),
    ]
    if head.presence_only:
        names = ", ".join(taxon.scientific_name for taxon in head.presence_only)
        lines.append(("present only", names))
    for i, (heading, text) in enumerate(lines, start=2):
        open_row(sheet, i, [(heading, _WIDE_FACT), (text, _WIDE_SAID)])
        sheet.write_string(i, 0, heading, look["fact"])
        sheet.write_string(i, 1, text, look["text"])
    set_up_page(sheet, head.title)


def _write_rows(
    book: xlsxwriter.Workbook, look: dict[str, Any], head: Head, report: Report, layout: Layout
) -> None:
    """One sheet: title, headings, a row each, and a total for each unit."""
    sheet = book.add_worksheet(layout.name)
    leading = layout.leading
    sheet.set_column(0, len(leading) - 1, _WIDE_LEAD)
    sheet.set_column(len(leading), len(leading) + len(COLUMNS), _WIDE_FIGURE)
    sheet.write_string(0, 0, head.title, look["title"])
    sheet.write_string(1, 0, head.basis)
    headings = [*leading, *(HEADINGS[column] for column in COLUMNS), _MOST]
    open_row(sheet, HEADINGS_AT, ((heading, _WIDE_FIGURE) for heading in headings))
    for i, heading in enumerate(headings):
        sheet.write_string(HEADINGS_AT, i, heading, look["heading" if i < len(leading) else "heading number"])
    line = HEADINGS_AT
    for row in in_order(report, layout):
        line += 1
        for i, text in enumerate(_leading(row, layout)):
            sheet.write_string(line, i, text, look["name"] if leading[i] == "name" else None)
        values = [*(row.value(column) for column in COLUMNS), row.young_most]
        _write_values(sheet, look["number"], line, len(leading), values)
    for unit, total in report.totals.items():
        line += 1
        for i in range(len(leading)):
            text = {"name": "total", "unit": unit}.get(leading[i], "")
            sheet.write_string(line, i, text, look["total"])
        values = [*(value_of(total, column) for column in COLUMNS), report.young_most(unit)]
        _write_values(sheet, look["total number"], line, len(leading), values)
    sheet.freeze_panes(HEADINGS_AT + 1, leading.index("name") + 1)
    sheet.repeat_rows(HEADINGS_AT)
    set_up_page(sheet, head.title)


def _write_values(sheet: Any, look: Any, line: int, first: int, values: list[Any]) -> None:
    for i, value in enumerate(values, start=first):
        if isinstance(value, int):
            sheet.write_number(line, i, value, look)
        else:
            sheet.write_string(line, i, value, look)


def _leading(row: Row, layout: Layout) -> list[str]:
    taxon = row.taxon
    known = {
        "phylum": taxon.phylum,
        "class": taxon.class_name,
        "family": taxon.family,
        "name": taxon.scientific_name,
        "common name": taxon.common_name,
        "unit": row.unit,
    }
    return [known.get(column, row.label) for column in layout.leading]
