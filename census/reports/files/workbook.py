"""A report as a workbook: head, a sheet for each part, and a sheet that proves the sums with formulas.

Written row by row in constant memory. Numbers are numbers; beside each formula stands its value, for readers
that do not calculate.
"""

from collections import Counter
from collections.abc import Callable
from datetime import datetime
from os import PathLike
from typing import Any, BinaryIO

import xlsxwriter  # type: ignore[import-untyped]

from census.change.files.layout import HEAD, open_row, set_up_page
from census.change.rules.words import NOT_OVER

from ..rules.checking import Check, Held, check_in_words, held
from ..rules.document import Column, Document, Identity, Kind, Part
from .grid import Value, headings, leading, row_of, total_of
from .proof import Laid, Placed, called, write_proof

HEADINGS_AT = 3
# Lines of a part that the proof tells one by one. Nobody reads more: those of a longer part are proved table
# by table, by one formula for each identity, which takes half the time and half the file.
EACH_PROVED = 2_500
# In letters: names as long as the longest of a genus and a species that is common.
_WIDTHS = {"line": 6, "name": 28, "common name": 28, "count class": 8, "unit": 12}
_WIDE_LEAD, _WIDE_FIGURE, _WIDE_WORDS = 22, 12, 32
_WIDE_FACT, _WIDE_SAID = 22, 100
# Words of a sentence take the lines that they need.
_LOOK = {Kind.TEXT: "text", Kind.PERCENT: "per cent", Kind.MFU: "mfu"}
_LOOK_OF_LEAD = {"line": "number", "name": "name"}
# A spreadsheet keeps the share itself and shows it in per cent.
SHARE = "+0.00%;-0.00%;0.00%"
# Lines between two words about how far it is.
EVERY = 500
Progress = Callable[[int], None]


def write_workbook(
    document: Document,
    out: str | PathLike[str] | BinaryIO,
    *,
    made_at: datetime,
    made: str,
    progress: Progress = lambda lines: None,
) -> None:
    """Writes to a path or an open binary file. ``made`` is ``made_at`` as the head says it; ``progress`` is
    told now and then how many lines are written. Each line is made once."""
    check = Check(document)
    options = {"constant_memory": True, "default_date_format": "yyyy-mm-dd"}
    with xlsxwriter.Workbook(out, options) as book:
        book.set_properties({"title": document.title, "created": made_at.replace(tzinfo=None)})
        look = _look(book)
        head = book.add_worksheet(HEAD)
        laid = [
            _write_part(book, look, document, part, check=check, progress=progress) for part in document.parts
        ]
        write_proof(book, look, document, laid, check)
        _write_head(head, look, document, made, check)


def _look(book: xlsxwriter.Workbook) -> dict[str, Any]:
    heading = {"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 1}
    # Words keep apart from the number before them, and all of a line begins at its top.
    words = {"text_wrap": True, "valign": "top", "align": "left", "indent": 1}
    figure = {"align": "right", "valign": "top"}
    total = {"bold": True, "top": 1, "valign": "top"}
    looks = {
        "title": {"bold": True, "font_size": 14},
        "heading": {**heading, "align": "left", "indent": 1},
        "heading number": {**heading, "align": "right"},
        "fact": {"bold": True, "text_wrap": True, "valign": "top"},
        "text": words,
        "name": {**words, "italic": True},
        "mfu": figure,
        "number": {**figure, "num_format": "0"},
        "signed": {**figure, "num_format": "+0;-0;0"},
        "per cent": {**figure, "num_format": SHARE},
        "total": {**total, "align": "left", "indent": 1},
        "total number": {**total, "align": "right", "num_format": "0"},
        "total signed": {**total, "align": "right", "num_format": "+0;-0;0"},
        "total mfu": {**total, "align": "right"},
        "total per cent": {**total, "align": "right", "num_format": SHARE},
    }
    return {name: book.add_format(look) for name, look in looks.items()}


def _write_head(sheet: Any, look: dict[str, Any], document: Document, made: str, check: Check) -> None:
    sheet.set_column(0, 0, _WIDE_FACT)
    sheet.set_column(1, 1, _WIDE_SAID)
    sheet.write_string(0, 0, document.title, look["title"])
    lines = [
        *document.head,
        ("made", made),
        ("check", check_in_words(check.failures(), document)),
        ("present only, never added", ", ".join(document.present_only) or "none"),
        *(("name", note) for note in document.notes),
    ]
    for part in document.parts:
        for block in part.blocks:
            said = [*(f"{heading}: {text}" for heading, text in block.facts), *block.notes]
            if said:
                lines.append((block.title, "; ".join(said)))
        if part.words:
            lines.append((part.title, part.words))
    for i, (heading, text) in enumerate(lines, start=2):
        open_row(sheet, i, [(heading, _WIDE_FACT), (text, _WIDE_SAID)])
        sheet.write_string(i, 0, heading, look["fact"])
        sheet.write_string(i, 1, text, look["text"])
    sheet.freeze_panes(1, 0)
    set_up_page(sheet, document.title)


def _write_part(
    book: xlsxwriter.Workbook,
    look: dict[str, Any],
    document: Document,
    part: Part,
    *,
    check: Check,
    progress: Progress,
) -> Laid:
    """One sheet: title, headings, a row for each line, and a total for each table."""
    sheet = book.add_worksheet(part.title)
    before = leading(part)
    widths = [
        *(_WIDTHS.get(heading, _WIDE_LEAD) for heading in before),
        *(_wide(part, one) for one in part.columns),
    ]
    for i, width in enumerate(widths):
        sheet.set_column(i, i, width)
    sheet.write_string(0, 0, f"{document.title}: {part.title}", look["title"])
    told = dict(document.head)
    sheet.write_string(1, 0, told.get("basis", ""))
    if NOT_OVER in told:
        sheet.write_string(2, 0, told[NOT_OVER])
    looks = [
        *(_LOOK_OF_LEAD.get(heading, "text") for heading in before),
        *(_LOOK.get(column.kind, column.kind.value) for column in part.columns),
    ]
    of_words = [i for i, one in enumerate(looks) if one in ("text", "name")]
    open_row(sheet, HEADINGS_AT, zip(headings(part), widths, strict=True))
    for i, heading in enumerate(headings(part)):
        sheet.write_string(HEADINGS_AT, i, heading, look["heading" if i in of_words else "heading number"])
    formats = [look.get(one) for one in looks]
    formats_of_total = [look.get(f"total {one}", look["total"]) for one in looks]
    short = sum(len(table.lines) for table in part.tables()) <= EACH_PROVED
    at = HEADINGS_AT
    placed = []
    for table in part.tables():
        first = at + 1
        proved: list[tuple[str, list[Held]]] = []
        off: Counter[Identity] = Counter()
        # One formula over a table would count the lines that its identities do not hold for.
        one_by_one = short or any(line.free for line in table.lines)
        for line in table.lines:
            at += 1
            figures = line.figures
            values = row_of(part, table, line, figures)
            open_row(sheet, at, ((str(values[i] or ""), widths[i]) for i in of_words))
            _write(sheet, at, values, formats)
            ties = check.line(part, table, line, figures)
            if one_by_one:
                proved.append((called(line), [*held(part, line, figures)]))
            elif not ties:
                off.update(one.identity for one in held(part, line, figures) if one.off)
            if at % EVERY == 0:
                progress(EVERY)
        if table.total_label:
            at += 1
            _write(sheet, at, total_of(part, table), formats_of_total, ruled=True)
        placed.append(Placed(table, first + 1, at + 1, proved, off))
    sheet.freeze_panes(HEADINGS_AT + 1, before.index("name") + 1 if "name" in before else min(2, len(before)))
    sheet.repeat_rows(HEADINGS_AT)
    set_up_page(sheet, document.title)
    return Laid(part, placed, HEADINGS_AT + 2, max(at + 1, HEADINGS_AT + 2))


def _wide(part: Part, column: Column) -> int:
    """A column of words has room for a sentence; one of figures for its longest total, which may be a range
    in words."""
    if column.kind is Kind.TEXT and not column.under:
        return _WIDE_WORDS
    totals = (table.total[column.key].value for table in part.tables() if table.total_label)
    longest = max((len(total) for total in totals if isinstance(total, str)), default=0)
    return max(_WIDE_FIGURE, longest + 2)


def _write(sheet: Any, at: int, values: list[Value], looks: list[Any], *, ruled: bool = False) -> None:
    """``ruled``: an empty cell has its look too, so that the line above a total is whole."""
    for i, (value, look) in enumerate(zip(values, looks, strict=True)):
        if isinstance(value, int):
            sheet.write_number(at, i, value, look)
        elif isinstance(value, float):
            sheet.write_number(at, i, value / 100, look)
        elif value and value.isdecimal():
            # A limit is a number, where nothing is said behind it.
            sheet.write_number(at, i, int(value), look)
        elif value:
            sheet.write_string(at, i, value, look)
        elif ruled:
            sheet.write_blank(at, i, None, look)
