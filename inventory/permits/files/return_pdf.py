"""A return as a form to sign: its head, its rows with line numbers, sums, and a box for the signature.

Where the columns are more than a page is wide they follow in bands, tied by the line numbers. What an
amended return amends is said below the row that it speaks of, for most rows say nothing of it.
"""

from collections.abc import Sequence
from io import BytesIO
from itertools import groupby
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color, black
from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    CondPageBreak,
    KeepTogether,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from inventory.book.rules.days import happened_in_words
from inventory.doors.ending import WithEnd
from inventory.doors.numbered import Foot, numbered
from inventory.doors.printed import printable

from ..rules.statements import MARK, NUMBERS, Chosen, Row, Statement
from .sheets import leaning

_PAGE = landscape(A4)
_EDGE = 36.0
_WIDTH = _PAGE[0] - 2 * _EDGE
_PLAIN, _BOLD = "Helvetica", "Helvetica-Bold"
_RULE = Color(0.6, 0.6, 0.6)
_CELL = ParagraphStyle("cell", fontName=_PLAIN, fontSize=7, leading=8.6)
_HEAD = ParagraphStyle("head", parent=_CELL, fontName=_BOLD)
_TEXT = ParagraphStyle("text", fontName=_PLAIN, fontSize=9, leading=11.5)
_NAME = ParagraphStyle("name", parent=_TEXT, fontName=_BOLD)
_TITLE = ParagraphStyle("title", fontName=_BOLD, fontSize=15, leading=19, spaceAfter=4)
_LINE_WIDTH = 24.0
_NARROWEST, _WIDEST = 34.0, 140.0
_PAD = 6.0
# The column that says when.
WHEN = "eventDate"
# A heading, the head of its table and two rows.
_ROOM = 80.0


def write_form(statement: Statement) -> bytes:
    """The form as a PDF."""
    out = BytesIO()
    paper = SimpleDocTemplate(
        out,
        pagesize=_PAGE,
        leftMargin=_EDGE,
        rightMargin=_EDGE,
        topMargin=_EDGE,
        bottomMargin=_EDGE + 12,
        title=printable(statement.title),
        author=printable(dict(statement.head).get("house", "")),
        subject=f"fingerprint {statement.fingerprint}",
        invariant=1,
    )
    story: list[Any] = [_words(statement.title, _TITLE), _head(statement), Spacer(0, 10)]
    amended = _amended(statement)
    bands = _bands(statement, without=amended)
    for number, (columns, widths) in enumerate(bands, start=1):
        if len(bands) > 1:
            story.append(CondPageBreak(_ROOM))
            story.append(_words(f"Columns, part {number} of {len(bands)}", _NAME))
        said = amended if number == 1 else None
        story += [_rows(columns, widths, statement.rows, below=said), Spacer(0, 10)]
    if statement.rows:
        # Nobody signs a page that has no row of the return.
        *story, table, _ = story
        story.append(WithEnd(table, [Spacer(0, 10), *_signature(statement)]))
    else:
        story += [_words("Nothing was taken. This return has no rows.", _NAME), Spacer(0, 10)]
        story.append(KeepTogether(_signature(statement)))
    paper.build(story, canvasmaker=numbered(_foot(statement)))
    return out.getvalue()


def _words(text: object, style: ParagraphStyle) -> Paragraph:
    return Paragraph(escape(printable(str(text))), style)


def _head(statement: Statement) -> Table:
    rows = [[_words(heading, _NAME), _words(words, _TEXT)] for heading, words in statement.head[1:]]
    rows.append([_words("fingerprint", _NAME), _words(statement.fingerprint, _TEXT)])
    table = Table(rows, colWidths=[110.0, _WIDTH - 110.0], hAlign="LEFT")
    style: list[Any] = [("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0.0)]
    style += [(edge, (0, 0), (-1, -1), 1.0) for edge in ("TOPPADDING", "BOTTOMPADDING")]
    table.setStyle(TableStyle(style))
    return table


def _amended(statement: Statement) -> Chosen | None:
    """The column that says what is amended, where a row says so and it is not the only one."""
    if len(statement.columns) == 1 or not any(row.mark for row in statement.rows):
        return None
    return next((one for one in statement.columns if one.code == MARK), None)


def _bands(statement: Statement, *, without: Chosen | None) -> list[tuple[list[Chosen], list[float]]]:
    """The columns in groups that fit a page, each with its widths."""
    if not statement.rows:
        return []
    bands: list[tuple[list[Chosen], list[float]]] = [([], [])]
    shown = [one for one in statement.columns if one is not without]
    # What was taken, let go, died and was kept adds up before the eyes of who reads it.
    for _, adding_up in groupby(shown, lambda one: "numbers" if one.code in NUMBERS else one.code):
        together = list(adding_up)
        wide = [_width(one, statement.rows) for one in together]
        columns, widths = bands[-1]
        if columns and sum(widths) + sum(wide) > _WIDTH - _LINE_WIDTH:
            bands.append(([], []))
            columns, widths = bands[-1]
        columns += together
        widths += wide
    return bands


def _width(one: Chosen, rows: Sequence[Row]) -> float:
    """As wide as its longest word, and up to a bound as its longest cell."""
    cells = [_text(row, one.code) for row in rows]
    whole = max((stringWidth(printable(cell), _PLAIN, 7) for cell in cells), default=0.0)
    words = [word for text in (*cells, one.heading) for word in printable(text).split()]
    word = max((stringWidth(each, _BOLD, 7) for each in words), default=0.0)
    return min(max(_NARROWEST, word + _PAD, min(whole + _PAD, _WIDEST)), _WIDTH / 3)


def _text(row: Row, code: str) -> str:
    """Days are said in words, as in all papers; the csv and the workbook keep those of the standard."""
    value = row.cell(code)
    text = "" if value is None else str(value)
    return happened_in_words(text) if code == WHEN and text else text


def _cell(row: Row, code: str) -> Paragraph:
    text = _text(row, code)
    leans = leaning(code, text)
    if not leans:
        return _words(text, _CELL)
    rest = escape(printable(text[len(leans) :]))
    return Paragraph(f"<i>{escape(printable(leans))}</i>{rest}", _CELL)


def _rows(
    columns: Sequence[Chosen], widths: Sequence[float], rows: Sequence[Row], *, below: Chosen | None
) -> Table:
    """``below``: a column of which each row that has something there says it across the table."""
    cells: list[list[Any]] = [[_words("Line", _HEAD), *(_words(one.heading, _HEAD) for one in columns)]]
    style: list[Any] = []
    for row in rows:
        first = len(cells)
        cells.append([_words(row.line, _HEAD), *(_cell(row, one.code) for one in columns)])
        if row.mark and below is not None:
            cells.append(["", _words(f"{below.heading}: {row.mark}", _CELL), *([""] * (len(columns) - 1))])
            style += [("SPAN", (1, first + 1), (-1, first + 1)), ("SPAN", (0, first), (0, first + 1))]
            style.append(("NOSPLIT", (0, first), (0, first + 1)))
        if row.mark:
            # What an amended return amends is seen at the edge too.
            style.append(("LINEBEFORE", (0, first), (0, len(cells) - 1), 2.5, black))
    table = Table(cells, colWidths=[_LINE_WIDTH, *widths], repeatRows=1, hAlign="LEFT")
    look: list[Any] = [
        ("GRID", (0, 0), (-1, -1), 0.4, _RULE),
        ("LINEBELOW", (0, 0), (-1, 0), 1, black),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        *((edge, (0, 0), (-1, -1), 3.0) for edge in ("LEFTPADDING", "RIGHTPADDING")),
        *((edge, (0, 0), (-1, -1), 2.0) for edge in ("TOPPADDING", "BOTTOMPADDING")),
    ]
    table.setStyle(TableStyle([*look, *style]))
    return table


def _signature(statement: Statement) -> list[Any]:
    n = len(statement.rows)
    rows = f"{n} row{'' if n == 1 else 's'}"
    said = f"I have read this return of {rows} and sign that it is what our records say."
    box = Table(
        [[_words(words, _CELL) for words in ("Place and day", f"Signature ({statement.signer})", "Stamp")]],
        colWidths=[_WIDTH * 0.25, _WIDTH * 0.45, _WIDTH * 0.3],
        rowHeights=[62.0],
        hAlign="LEFT",
    )
    box.setStyle(TableStyle([("GRID", (0, 0), (-1, -1), 0.8, black), ("VALIGN", (0, 0), (-1, -1), "TOP")]))
    return [_words(said, _TEXT), Spacer(0, 6), box]


def _foot(statement: Statement) -> Foot:
    told = dict(statement.head)
    what = (told.get("house", ""), statement.title, told.get("takes of", ""))
    upper = printable("; ".join(text for text in what if text))
    lower = printable(f"{statement.name}   {statement.fingerprint[:16]}")

    def draw(canvas: Canvas, page: str) -> None:
        canvas.setFont(_PLAIN, 7)
        canvas.setFillColor(black)
        canvas.drawString(_EDGE, _EDGE + 1, upper)
        canvas.drawString(_EDGE, _EDGE - 8, lower)
        canvas.drawRightString(_PAGE[0] - _EDGE, _EDGE - 8, page)

    return draw
