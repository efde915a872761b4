"""A report on paper: landscape A4, tables whose headings come again on each page, line numbers to the annex.

The same report gives the same bytes: no time of printing but the one that is told.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from html import escape
from math import ceil
from typing import Any, BinaryIO

from reportlab.lib.colors import Color, black
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import CondPageBreak, LongTable, Paragraph, SimpleDocTemplate, Spacer, TableStyle

from inventory.doors.printed import printable

from ..queries.annex import Entry
from ..queries.pictured import Pictured
from ..rules.checking import Check, check_in_words
from ..rules.document import Block, Chart, Column, Document, Figure, Kind, Line, Name, Part, Table
from ..rules.shown import said_of
from .charts import charts_of, charts_of_block
from .plates import beside_picture, plates

MARGIN = 30.0
WIDTH = landscape(A4)[0] - 2 * MARGIN
# What the frame of a page keeps free at each side of its own accord.
INSET = 6.0
# So many columns of figures stand beside each other; more go into tables below.
ABREAST = 15
# A title stands on the next page when there is less than this below it, in points: a heading and two lines.
ROOM = 120.0
RULE = Color(0.6, 0.6, 0.6)
_TEXT = ParagraphStyle("text", fontName="Helvetica", fontSize=7.5, leading=9.2)
_SMALL = ParagraphStyle("small", parent=_TEXT, fontSize=6.5, leading=7.8)
_NUMBER = ParagraphStyle("number", parent=_TEXT, alignment=TA_RIGHT)
_HEAD = ParagraphStyle("head", parent=_SMALL, fontName="Helvetica-Bold", alignment=TA_RIGHT)
_LEFT = ParagraphStyle("left", parent=_HEAD, alignment=0)
_TITLE = ParagraphStyle(
    "title", parent=_TEXT, fontName="Helvetica-Bold", fontSize=15, leading=19, spaceAfter=4
)
_PART = ParagraphStyle("part", parent=_TITLE, fontSize=12, leading=15, spaceBefore=8)
_BLOCK = ParagraphStyle(
    "block", parent=_TITLE, fontSize=9.5, leading=12, spaceBefore=8, spaceAfter=2, keepWithNext=1
)
_FACTS = ParagraphStyle("facts", parent=_SMALL, keepWithNext=1)
_NOTE = ParagraphStyle("note", parent=_TEXT, spaceBefore=1)

_TOTAL_RULE = (("LINEABOVE", (0, -1), (-1, -1), 0.8, black),)
Progress = Callable[[int], None]
Annex = Mapping[tuple[object, ...], Sequence[Entry]]


def write_pdf(
    document: Document,
    out: BinaryIO,
    *,
    made: str,
    annex: Annex | None,
    without: str = "",
    picture: Pictured | None = None,
    progress: Progress = lambda lines: None,
) -> None:
    """Writes the report; ``without`` says why no annex is there, ``progress`` is told of lines laid out."""
    paper = SimpleDocTemplate(
        out,
        pagesize=landscape(A4),
        leftMargin=MARGIN - INSET,
        rightMargin=MARGIN - INSET,
        topMargin=MARGIN,
        bottomMargin=MARGIN + 10,
        title=printable(document.title),
        subject="population change",
        lang="en-GB",
        invariant=1,
    )

    def foot(canvas: Canvas, _: Any) -> None:
        canvas.setFont("Helvetica", 7)
        canvas.setFillColor(black)
        canvas.drawString(MARGIN, 20, printable(f"{document.title}; made {made}"))
        canvas.drawRightString(MARGIN + WIDTH, 20, f"Page {canvas.getPageNumber()}")

    story = _story(document, annex, without, picture, progress)
    paper.build([*story], onFirstPage=foot, onLaterPages=foot)


def _story(
    document: Document, annex: Annex | None, without: str, picture: Pictured | None, progress: Progress
) -> Iterator[Any]:
    check = Check(document)
    yield _words(document.title, _TITLE)
    yield from _head(document, picture)
    yield from _plates(charts_of(document), titled=True)
    for part in document.parts:
        yield CondPageBreak(ROOM)
        yield _words(part.title, _PART)
        if part.words:
            yield _words(part.words, _TEXT)
        for block in part.blocks:
            yield from _block(part, block, check, progress)
    yield Spacer(1, 8)
    yield _words(check_in_words(check.failures(), document), _BLOCK)
    for note in document.notes:
        yield _words(note, _NOTE)
    if document.present_only:
        yield _words(f"Present only, never added: {', '.join(document.present_only)}.", _NOTE)
    if not any(line.annex for part in document.parts for table in part.tables() for line in table.lines):
        return
    yield CondPageBreak(ROOM)
    yield _words("Annex: the events behind each line", _PART)
    if annex is None:
        yield _words(without, _TEXT)
    else:
        yield from _annex(document, annex)


def _head(document: Document, picture: Pictured | None) -> Iterator[Any]:
    lines = [
        Paragraph(f"<b>{_xml(heading.capitalize())}:</b> {_xml(text)}", _TEXT)
        for heading, text in document.head
    ]
    if picture is None or document.picture is None:
        yield from lines
    else:
        caption = _xml(f"{document.picture.alt}. Picture: {document.picture.credit}")
        yield beside_picture(lines, picture, caption, _SMALL, WIDTH)


def _plates(charts: Sequence[Chart], *, titled: bool) -> Iterator[Any]:
    """``titled``: what the charts are of is not said above them."""
    for_each = [
        ([_words(chart.title, _LEFT)] if titled else [], chart, _words(chart.words, _SMALL))
        for chart in charts
    ]
    yield from plates(for_each, WIDTH)


def _block(part: Part, block: Block, check: Check, progress: Progress) -> Iterator[Any]:
    if len(part.blocks) > 1:
        yield CondPageBreak(ROOM)
        yield _words(block.title, _BLOCK)
    if block.facts:
        facts = "; ".join(f"{heading} {text}" for heading, text in block.facts)
        yield _words(facts, _FACTS)
    yield from _plates(charts_of_block(block, on_paper=True), titled=False)
    shown = _abreast(part.columns)
    for table in block.tables:
        made = [line.figures for line in table.lines]
        for line, figures in zip(table.lines, made, strict=True):
            check.line(part, table, line, figures)
        for columns in shown:
            yield Spacer(1, 3)
            yield _table(part, block, table, columns, made)
        progress(len(made))
    for note in block.notes:
        yield _words(note, _NOTE)


def _abreast(columns: Sequence[Column]) -> list[list[Column]]:
    """Columns in pieces that fit beside each other, about equally many in each; what stands under a column
    stays with it."""
    above = sum(not one.under for one in columns)
    each = ceil(above / max(1, ceil(above / ABREAST)))
    pieces: list[list[Column]] = [[]]
    for column in columns:
        if not column.under and sum(not one.under for one in pieces[-1]) == each:
            pieces.append([])
        pieces[-1].append(column)
    return pieces


def _table(
    part: Part, block: Block, table: Table, columns: Sequence[Column], made: Sequence[Mapping[str, Figure]]
) -> LongTable:
    above = [column for column in columns if not column.under]
    named = part.named
    lead = ["line", *([part.label] if part.label else []), *(["animal"] if named else [])]
    caption = _words(f"{block.title}, unit: {table.unit}", _LEFT)
    rows: list[list[Any]] = [
        [caption, *([""] * (len(lead) + len(above) - 1))],
        [_words(one, _LEFT) for one in lead] + [_heading(columns, one) for one in above],
    ]
    for line, figures in zip(table.lines, made, strict=True):
        first: list[Any] = [_words(str(line.number), _NUMBER)]
        if part.label:
            first.append(_words(line.label, _TEXT))
        if named:
            first.append(_named(line))
        rows.append(first + [_cell(columns, one, figures) for one in above])
    if table.total_label:
        label = _words(f"{table.total_label}, unit: {table.unit}", _LEFT)
        rows.append([label, *([""] * (len(lead) - 1)), *(_cell(columns, one, table.total) for one in above)])
    drawn = LongTable(rows, colWidths=_widths(part, lead, above), repeatRows=2, hAlign="LEFT")
    ruled = [
        ("LINEBEFORE", (len(lead) + i, 1), (len(lead) + i, -1), 1, black)
        for i, c in enumerate(above)
        if c.ruled
    ]
    drawn.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("SPAN", (0, 0), (-1, 0)),
                # Neither a heading nor a total stands on a page without a line.
                ("NOSPLIT", (0, 0), (0, min(2, len(rows) - 1))),
                *([("NOSPLIT", (0, -2), (0, -1))] if table.total_label else ()),
                ("VALIGN", (0, 1), (-1, 1), "BOTTOM"),
                ("LINEBELOW", (0, 1), (-1, 1), 0.8, black),
                ("LINEBELOW", (0, 2), (-1, -2), 0.3, RULE),
                *(_TOTAL_RULE if table.total_label else ()),
                *([("SPAN", (0, -1), (len(lead) - 1, -1))] if table.total_label else ()),
                ("LEFTPADDING", (0, 0), (-1, -1), 2),
                ("RIGHTPADDING", (0, 0), (-1, -1), 2),
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
                *ruled,
            ]
        )
    )
    return drawn


def _widths(part: Part, lead: Sequence[str], above: Sequence[Column]) -> list[float]:
    first = [26.0]
    if part.label:
        first.append(60.0 if part.named else 110.0)
    if part.named:
        first.append(150.0)
    texts = [column.kind is Kind.TEXT for column in above]
    left = WIDTH - sum(first[: len(lead)])
    # A column of words is twice as wide as one of numbers, which need not be wider than they are.
    share = min(left / (len(above) + sum(texts)), 75.0)
    widths = [
        share * 2 if text else max(share, _longest_word(one)) for one, text in zip(above, texts, strict=True)
    ]
    # No word of a heading is broken: the columns of words give what that takes, or else the last of the lead.
    over = max(0.0, sum(widths) - left)
    if any(texts):
        widths = [
            width - over / sum(texts) if text else width for width, text in zip(widths, texts, strict=True)
        ]
    else:
        first[len(lead) - 1] -= over
    # What nothing needs goes to the words at the left, which then take one line.
    first[len(lead) - 1] += min(100.0, max(0.0, left - sum(widths)))
    return [*first[: len(lead)], *widths]


def _longest_word(column: Column) -> float:
    """In points, with the room at both sides of it."""
    return max(stringWidth(word, _HEAD.fontName, _HEAD.fontSize) for word in column.heading.split()) + 4.5


def _heading(columns: Sequence[Column], column: Column) -> Paragraph:
    """A heading, and small below it what the small figures under the column are."""
    text = _xml(f"{column.heading}{f', {column.mark}' if column.mark else ''}")
    small = []
    for below in columns[list(columns).index(column) + 1 :]:
        if not below.under:
            break
        small.append(below.heading)
    if small:
        text += f'<br/><font name="Helvetica" size="6">{_xml(", ".join(small))}</font>'
    return Paragraph(text, _LEFT if column.kind is Kind.TEXT else _HEAD)


def _cell(columns: Sequence[Column], column: Column, figures: Mapping[str, Any]) -> Paragraph:
    """A figure, and small below it what stands under it."""
    at = list(columns).index(column)
    text = _xml(said_of(column, figures[column.key]))
    for below in columns[at + 1 :]:
        if not below.under:
            break
        small = said_of(below, figures[below.key])
        if small:
            words = f"{below.heading} {small}" if below.kind is Kind.NUMBER else small
            text += f'<br/><font size="6">{_xml(words)}</font>'
    return Paragraph(text, _SMALL if column.kind is Kind.TEXT else _NUMBER)


def _named(line: Line) -> Paragraph:
    return Paragraph(_name_xml(line.name) if line.name else _xml(line.label), _TEXT)


def _name_xml(name: Name) -> str:
    text = f"<i>{_xml(name.accepted)}</i>"
    if name.note:
        text += f"<super>{name.note}</super>"
    small = [name.authorship, *(f"typed as {typed}" for typed in name.typed), name.common]
    more = ", ".join(_xml(word) for word in small if word)
    tag = f" [{name.count_class}]" if name.count_class else ""
    return f'{text}{tag}<br/><font size="6">{more}</font>' if more else text + tag


def _annex(document: Document, annex: Annex) -> Iterator[Any]:
    """Each line's events in order; their sum leads from the line's first opening to its last closing."""
    for part in document.parts:
        for table in part.tables():
            for line in table.lines:
                entries = annex.get(line.annex, ()) if line.annex else ()
                if entries:
                    yield _words(
                        f"Line {line.number}: {line.name.accepted if line.name else ''} {line.label}"
                        f" ({table.unit}), {_signed(sum(entry.n for entry in entries))} in all",
                        _BLOCK,
                    )
                    yield _entries(entries)


def _entries(entries: Sequence[Entry]) -> LongTable:
    heads = ("happened", "event", "what", "lot", "from and to", "counts as", "n", "entered by")
    rows: list[list[Any]] = [[_words(one, _LEFT) for one in heads]]
    for entry in entries:
        texts = (entry.happened, str(entry.event), entry.kind, entry.lot, entry.way, entry.column)
        rows.append(
            [
                *(_words(text, _SMALL) for text in texts),
                _words(_signed(entry.n), _NUMBER),
                _words(entry.entered, _SMALL),
            ]
        )
    widths = [95, 42, 90, 120, 150, 95, 35, WIDTH - 627]
    drawn = LongTable(rows, colWidths=widths, repeatRows=1, hAlign="LEFT")
    drawn.setStyle(
        TableStyle(
            [
                ("LINEBELOW", (0, 0), (-1, 0), 0.5, black),
                ("TOPPADDING", (0, 0), (-1, -1), 0.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 0.5),
                ("LEFTPADDING", (0, 0), (-1, -1), 2),
                ("RIGHTPADDING", (0, 0), (-1, -1), 2),
            ]
        )
    )
    return drawn


def _signed(n: int) -> str:
    return f"{n:+d}" if n else "0"


def _words(text: str, style: ParagraphStyle) -> Paragraph:
    return Paragraph(_xml(text), style)


def _xml(text: str) -> str:
    """Text for a paragraph, in the letters of the standard fonts; a true minus is a hyphen there."""
    return escape(printable(text.replace("\N{MINUS SIGN}", "-")))
