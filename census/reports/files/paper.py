"""A report on paper: landscape A4, tables whose headings come again on each page, line numbers to the annex.

The same report gives the same bytes: no time of printing but the one that is told.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from math import ceil
from typing import Any, BinaryIO

from reportlab.lib.colors import Color, black
from reportlab.lib.pagesizes import A4, landscape
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    CondPageBreak,
    KeepTogether,
    LongTable,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    TableStyle,
)

from inventory.doors.ending import WithEnd
from inventory.doors.numbered import numbered
from inventory.doors.printed import printable
from inventory.names.rules.italics import Italics

from ..queries.pictured import Pictured
from ..rules.checking import Check, check_in_words
from ..rules.document import Block, Chart, Column, Document, Figure, Kind, Line, Part, Table
from ..rules.entries import Annex
from ..rules.italics import italics_of
from ..rules.shown import said_of
from . import letters
from .annexed import annex_pages
from .charts import charts_of, charts_of_block
from .letters import slanted, words, xml
from .plates import beside_picture, in_two_columns, plates
from .signed import signature_lines
from .widths import LINE_APART, column_widths, label_width

MARGIN = 30.0
WIDTH = landscape(A4)[0] - 2 * MARGIN
# What the frame of a page keeps free at each side of its own accord.
INSET = 6.0
# So many columns of figures stand beside each other; more go into tables below.
ABREAST = 15
# A title stands on the next page when there is less than this below it, in points: a heading and two lines.
ROOM = 120.0
# A caption, a heading of two lines, one line and its total, each with small figures below.
ROOM_OF_ONE = 100.0
# The title of a part stands above that of its first block.
ROOM_OF_PART = 40.0
# With so much room, in points, nothing more is gained on the next page.
FULL_PAGE = landscape(A4)[1] - 2 * MARGIN - 14 - 2 * INSET - 1
RULE = Color(0.6, 0.6, 0.6)
# Notes up to so many stay on the page of the total that they speak of.
FEW_NOTES = 16

Progress = Callable[[int], None]


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
        bottomMargin=MARGIN + 14,
        title=printable(document.title),
        subject="population change",
        lang="en-GB",
        invariant=1,
    )

    told = dict(document.head)
    what = (told.get("house", ""), document.title, told.get("scope", ""))
    upper = printable("; ".join(text for text in what if text))
    lower = printable("; ".join(text for text in (told.get("basis", ""), f"made {made}") if text))

    def foot(canvas: Canvas, page: str) -> None:
        canvas.setFont("Helvetica", letters.SMALLEST)
        canvas.setFillColor(black)
        canvas.drawString(MARGIN, 26, upper)
        canvas.drawString(MARGIN, 17, lower)
        canvas.drawRightString(MARGIN + WIDTH, 17, page)

    story = _story(document, annex, without, picture, progress)
    paper.build([*story], canvasmaker=numbered(foot))


class _Kept(LongTable):
    """A table whose rows stand together where NOSPLIT asks for it, and come apart where a page is too short
    for that: names and reasons may be long."""

    def split(self, width: float, height: float) -> list[Any]:
        pieces: list[Any] = super().split(width, height)
        if pieces or height < FULL_PAGE:
            return pieces
        # The library's own name for what NOSPLIT has asked for.
        vars(self)["_nosplitCmds"] = []
        apart: list[Any] = super().split(width, height)
        return apart


def _story(
    document: Document, annex: Annex | None, without: str, picture: Pictured | None, progress: Progress
) -> Iterator[Any]:
    check = Check(document)
    names = italics_of(document, ())
    yield Paragraph(slanted(names, document.title), letters.TITLE)
    yield from _head(document, names, picture)
    yield from _plates(charts_of(document), titled=True)
    if document.signers:
        # Nobody signs a page that says nothing else.
        *parts, last = _parts(document, check, names, progress)
        yield from parts
        end = [*_checked(document, check, names), *signature_lines(document.signers, WIDTH)]
        if isinstance(last, LongTable):
            yield WithEnd(last, end)
        else:
            yield from (last, KeepTogether(end))
    else:
        yield from _parts(document, check, names, progress)
        yield from _checked(document, check, names)
    if not any(line.annex for part in document.parts for table in part.tables() for line in table.lines):
        return
    yield CondPageBreak(ROOM)
    yield words("Annex: the events behind each line", letters.PART)
    if annex is None:
        yield words(without, letters.TEXT)
    else:
        yield from annex_pages(document, annex, WIDTH)


def _parts(document: Document, check: Check, names: Italics, progress: Progress) -> Iterator[Any]:
    for part in document.parts:
        title = [words(part.title, letters.PART)]
        if part.words:
            title.append(words(part.words, letters.TEXT))
        if not part.blocks:
            yield from title
        label = label_width(part)
        for at, block in enumerate(part.blocks):
            yield from _opening(part, block, title if at == 0 else [], names)
            yield from _block(part, block, check, label=label, names=names, progress=progress)


def _checked(document: Document, check: Check, names: Italics) -> Iterator[Any]:
    """Whether the sums hold, known once all lines are laid out, and the notes."""
    yield Spacer(1, 8)
    yield words(check_in_words(check.failures(), document), letters.BLOCK)
    yield from (Paragraph(slanted(names, note), letters.NOTE) for note in document.notes)
    if document.present_only:
        text = f"Present only, never added: {', '.join(document.present_only)}."
        yield Paragraph(slanted(names, text), letters.NOTE)


def _head(document: Document, names: Italics, picture: Pictured | None) -> Iterator[Any]:
    lines = [
        Paragraph(f"<b>{xml(heading.capitalize())}:</b> {slanted(names, text)}", letters.TEXT)
        for heading, text in document.head
    ]
    if picture is None or document.picture is None:
        yield from [in_two_columns(lines, WIDTH)] if document.subject else lines
    else:
        caption = xml(f"{document.picture.alt}. Picture: {document.picture.credit}")
        yield beside_picture(lines, picture, caption, letters.SMALL, WIDTH)


def _plates(charts: Sequence[Chart], *, titled: bool) -> Iterator[Any]:
    """``titled``: what the charts are of is not said above them."""
    for_each = [
        ([words(chart.title, letters.LEFT)] if titled else [], chart, words(chart.words, letters.SMALL))
        for chart in charts
    ]
    yield from plates(for_each, WIDTH)


def _opening(part: Part, block: Block, title: list[Any], names: Italics) -> Iterator[Any]:
    """The titles of a block, and those of its part above the first, with what they open: never alone at the
    foot of a page."""
    lead = [*title]
    if len(part.blocks) > 1:
        lead.append(words(block.title, letters.BLOCK))
    if block.facts:
        facts = "; ".join(f"{heading} {text}" for heading, text in block.facts)
        lead.append(Paragraph(slanted(names, facts), letters.FACTS))
    drawn = [*_plates(charts_of_block(block, on_paper=True), titled=False)]
    if drawn:
        yield KeepTogether([*lead, drawn[0]])
        yield from drawn[1:]
    else:
        yield CondPageBreak(_room(block) + (ROOM_OF_PART if title else 0))
        yield from lead


def _room(block: Block) -> float:
    """What a title asks for below it: a table of one line is not cut between it, its total and the notes, and
    asks for no more than that where it has no notes."""
    short = bool(block.tables) and len(block.tables[0].lines) == 1
    if not short:
        return ROOM
    if len(block.tables) == 1 and not block.notes and not block.facts:
        return ROOM_OF_ONE
    return ROOM + 24.0 + 11.0 * min(len(block.notes), FEW_NOTES)


def _block(
    part: Part, block: Block, check: Check, *, label: float, names: Italics, progress: Progress
) -> Iterator[Any]:
    shown = _abreast(part.columns)
    notes = [Paragraph(slanted(names, note), letters.NOTE) for note in block.notes]
    below = notes if len(notes) <= FEW_NOTES else []
    for table in block.tables:
        made = [line.figures for line in table.lines]
        for line, figures in zip(table.lines, made, strict=True):
            check.line(part, table, line, figures)
        bands = [columns for columns in shown if _says(columns, made, table.total)] or shown[:1]
        for at, columns in enumerate(bands, start=1):
            last = table is block.tables[-1] and at == len(bands)
            band = f", columns {at} of {len(bands)}" if len(bands) > 1 else ""
            yield Spacer(1, 3)
            yield _table(
                part, block, table, columns, made, label=label, band=band, notes=below if last else []
            )
        progress(len(made))
    if not block.tables or not below:
        yield from notes


def _says(
    columns: Sequence[Column], made: Sequence[Mapping[str, Figure]], total: Mapping[str, Figure]
) -> bool:
    """Whether anything stands under these columns: a heading over blanks alone asks what was forgotten."""
    return any(said_of(one, figures[one.key]) for figures in (*made, total) for one in columns)


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
    part: Part,
    block: Block,
    table: Table,
    columns: Sequence[Column],
    made: Sequence[Mapping[str, Figure]],
    *,
    label: float,
    band: str,
    notes: list[Paragraph],
) -> LongTable:
    """Lines of one unit under a heading that comes again; ``notes`` are a row below them, so that they stand
    on a page that says what they speak of."""
    above = [column for column in columns if not column.under]
    named = part.named
    lead = ["line", *([part.label] if part.label else []), *(["animal"] if named else [])]
    caption = words(f"{block.title}, unit: {table.unit}{band}", letters.LEFT)
    rows: list[list[Any]] = [
        [caption, *([""] * (len(lead) + len(above) - 1))],
        [words(one, letters.LEFT) for one in lead] + [_heading(columns, one) for one in above],
    ]
    for line, figures in zip(table.lines, made, strict=True):
        first: list[Any] = [words(str(line.number), letters.NUMBER)]
        if part.label:
            first.append(words(line.label, letters.TEXT))
        if named:
            first.append(_named(line))
        rows.append(first + [_cell(columns, one, figures) for one in above])
    total = len(rows) if table.total_label else None
    if total is not None:
        of_total = words(f"{table.total_label}, unit: {table.unit}", letters.LEFT)
        figures_of_total = (_cell(columns, one, table.total) for one in above)
        rows.append([of_total, *([""] * (len(lead) - 1)), *figures_of_total])
    noted = len(rows) if notes else None
    if notes:
        rows.append([notes, *([""] * (len(rows[0]) - 1))])
    end = noted or len(rows)
    drawn = _Kept(
        rows, colWidths=column_widths(part, lead, above, label, within=WIDTH), repeatRows=2, hAlign="LEFT"
    )
    drawn.setStyle(TableStyle([*_looks(lead, above, end), *_ends(lead, total, noted, len(rows))]))
    return drawn


def _looks(lead: Sequence[str], above: Sequence[Column], end: int) -> Iterator[tuple[Any, ...]]:
    """The rules between lines and columns, and the room in the cells."""
    yield ("VALIGN", (0, 0), (-1, -1), "TOP")
    yield ("SPAN", (0, 0), (-1, 0))
    yield ("VALIGN", (0, 1), (-1, 1), "BOTTOM")
    yield ("LINEBELOW", (0, 1), (-1, 1), 0.8, black)
    yield ("LINEBELOW", (0, 2), (-1, end - 2), 0.3, RULE)
    yield ("LEFTPADDING", (0, 0), (-1, -1), 2)
    yield ("RIGHTPADDING", (0, 0), (-1, -1), 2)
    # The number of the line stands apart from what may begin with a number itself.
    yield ("RIGHTPADDING", (0, 2), (0, end - 1), LINE_APART)
    yield ("TOPPADDING", (0, 0), (-1, -1), 1)
    yield ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5)
    for i, column in enumerate(above):
        if column.kind is Kind.TEXT and i:
            # Words do not begin where a number ends.
            yield ("LEFTPADDING", (len(lead) + i, 1), (len(lead) + i, end - 1), 6)
        if column.ruled:
            yield ("LINEBEFORE", (len(lead) + i, 1), (len(lead) + i, end - 1), 1, black)


def _ends(lead: Sequence[str], total: int | None, noted: int | None, rows: int) -> Iterator[tuple[Any, ...]]:
    """Neither a heading nor a total nor the notes stand on a page without a line."""
    yield ("NOSPLIT", (0, 0), (0, min(2, rows - 1)))
    if total is not None:
        yield ("LINEABOVE", (0, total), (-1, total), 0.8, black)
        yield ("SPAN", (0, total), (len(lead) - 1, total))
        yield ("NOSPLIT", (0, total - 1), (0, total))
    if noted is not None:
        yield ("SPAN", (0, noted), (-1, noted))
        yield ("NOSPLIT", (0, noted - 2), (0, noted))


def _heading(columns: Sequence[Column], column: Column) -> Paragraph:
    """A heading, and small below it what the small figures under the column are."""
    text = xml(f"{column.heading}{f', {column.mark}' if column.mark else ''}")
    small = []
    for below in columns[list(columns).index(column) + 1 :]:
        if not below.under:
            break
        small.append(below.heading)
    if small:
        text += f"<br/>{letters.small(xml(', '.join(small)))}"
    return Paragraph(text, letters.LEFT if column.kind is Kind.TEXT else letters.HEAD)


def _cell(columns: Sequence[Column], column: Column, figures: Mapping[str, Any]) -> Paragraph:
    """A figure, and small below it what stands under it."""
    at = list(columns).index(column)
    told = said_of(column, figures[column.key])
    text = ", ".join(map(letters.scientific, told.split(", "))) if column.key == "names" else xml(told)
    for below in columns[at + 1 :]:
        if not below.under:
            break
        small = said_of(below, figures[below.key])
        # "at most 0" below a 0 says nothing.
        if small and not (below.kind is Kind.NUMBER and figures[below.key].value == 0):
            said = f"{below.heading} {small}" if below.kind is Kind.NUMBER else small
            text += f"<br/>{letters.small(xml(said))}"
    return Paragraph(text, letters.SMALL if column.kind is Kind.TEXT else letters.NUMBER)


def _named(line: Line) -> Paragraph:
    return Paragraph(letters.name_xml(line.name) if line.name else xml(line.label), letters.TEXT)
