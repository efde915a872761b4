"""Count sheets on paper: numbered lines with room to write, and nothing that gives a number away.

Made of blind sheets only. The same list gives the same bytes: no time of printing, no identifier by chance.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import BinaryIO

import segno
from reportlab.pdfgen.canvas import Canvas

from ..queries.blind import BlindSheet
from ..rules.hints import hints
from ..rules.list_mark import list_mark
from .pdf_boxes import (
    BOLD,
    HEIGHT,
    LEADING,
    LEFT,
    NAME,
    PLAIN,
    RESULT,
    RIGHT,
    TALLY,
    UNIT,
    Block,
    box,
    line_blocks,
    tick,
    wrapped,
    write,
)
from .sheet_pictures import SmallPicture, small_picture

# Rows for what is not on the list: the most that do not ask for a page more.
WRITE_INS = (5, 4, 3)
# Of a page from which a block is taken along, a heading and a line stay.
STAY = 3
TOP, BOTTOM = HEIGHT - 36.0, 52.0
QR_SIDE = 62.0
HEAD = 84.0
Drawn = Mapping[str, SmallPicture | None]
FOOT = "Blank: not counted. Zero is written."


def write_pdf(
    sheets: Iterable[BlindSheet], out: Path | BinaryIO, pictures: Mapping[str, bytes] | None = None
) -> int:
    """Writes all sheets into one PDF, each from page 1 of its own; gives the number of pages.

    ``pictures`` are files by scientific name."""
    drawn = {name: small_picture(content) for name, content in (pictures or {}).items()}
    canvas = Canvas(
        str(out) if isinstance(out, Path) else out,
        pagesize=(RIGHT + 36.0, HEIGHT),
        invariant=1,
        pageCompression=1,
    )
    canvas.setTitle("Count sheets")
    canvas.setSubject("Blank is not counted; zero is written.")
    written = sum(_write_sheet(canvas, sheet, drawn) for sheet in sheets)
    canvas.save()
    return written


def mark_of(sheet: BlindSheet) -> str:
    """The list version as it is printed: it changes when anything on the list does."""
    lines = [
        (line.number, line.place, line.name, line.common_name, line.unit, line.count_class, line.presence,
         line.marks, line.note, line.sexed, [(a.accession, a.house_name, a.marks) for a in line.individuals])
        for line in sheet.lines
    ]  # fmt: skip
    head = (sheet.number, sheet.place, sheet.place_name, sheet.windows, sheet.letter, sheet.round)
    return list_mark(sheet.list_version, [head, sheet.counters, lines])


def _write_sheet(canvas: Canvas, sheet: BlindSheet, pictures: Drawn) -> int:
    pages = min((list(_pages(list(_blocks(sheet, pictures, rows)))) for rows in WRITE_INS), key=len)
    mark, code = mark_of(sheet), segno.make(sheet.number, error="m", micro=False)
    canvas.bookmarkPage(sheet.number)
    canvas.addOutlineEntry(f"{sheet.number} {sheet.place}", sheet.number)
    for number, blocks in enumerate(pages, start=1):
        _head(canvas, sheet, mark, code)
        y = TOP - HEAD
        for block in blocks:
            block.draw(canvas, y)
            y -= block.height
        _foot(canvas, sheet, mark, f"page {number} of {len(pages)}")
        canvas.showPage()
    return len(pages)


def _pages(blocks: Sequence[Block]) -> Iterator[list[Block]]:
    """Fills pages from above; what was begun on one page is named again on the next."""
    room = TOP - HEAD - BOTTOM
    page: list[Block] = []
    left = room
    for block in blocks:
        if block.height > left and page:
            along = [page.pop()] if block.ends and len(page) > STAY else []
            yield page
            first, before = (*along, block)[0], page[-1]
            again = before.again if before.again is first.again else None
            page = [*([_HEADING] if first.listed else []), *([again] if again else []), *along]
            left = room - sum(part.height for part in page)
        page.append(block)
        left -= block.height
    yield page


def _blocks(sheet: BlindSheet, pictures: Drawn, write_ins: int) -> Iterator[Block]:
    yield _moment(sheet)
    yield _hints(sheet)
    yield _HEADING
    several = any(line.place != sheet.place for line in sheet.lines)
    for line in sheet.lines:
        place = f"at {line.place}" if several else ""
        yield from line_blocks(line, place=place, picture=pictures.get(line.name))
    if sheet.round == 1:
        yield from _write_ins(write_ins)
    yield _signatures(sheet)


def _head(canvas: Canvas, sheet: BlindSheet, mark: str, code: segno.QRCode) -> None:
    write(canvas, LEFT, TOP - 20, sheet.number, font=BOLD, size=20)
    place = wrapped(f"{sheet.place} {sheet.place_name}", RIGHT - LEFT - QR_SIDE - 20, BOLD, 12)
    write(canvas, LEFT, TOP - 38, place[0], font=BOLD, size=12)
    what = "Letter" if sheet.letter else "Count sheet"
    write(canvas, LEFT, TOP - 52, f"{what}, count {sheet.round}. List version {mark}.", size=9)
    named = ", ".join(sheet.counters) or "not named"
    for row, part in enumerate(wrapped(f"Counters: {named}", RIGHT - LEFT - QR_SIDE - 20)[:2]):
        write(canvas, LEFT, TOP - 64 - row * LEADING, part, size=9)
    _qr(canvas, code, RIGHT - QR_SIDE, TOP)


def _qr(canvas: Canvas, code: segno.QRCode, x: float, y: float) -> None:
    """The sheet's number as a QR code (ISO/IEC 18004), each run of dark modules one rectangle."""
    rows = [list(row) for row in code.matrix_iter(border=0)]
    side = QR_SIDE / len(rows)
    path = canvas.beginPath()
    for down, row in enumerate(rows):
        start = None
        for across, dark in enumerate([*row, 0]):
            if dark and start is None:
                start = across
            elif not dark and start is not None:
                path.rect(x + start * side, y - (down + 1) * side, (across - start) * side, side)
                start = None
    canvas.setFillColorRGB(0, 0, 0)
    canvas.drawPath(path, stroke=0, fill=1)


def _foot(canvas: Canvas, sheet: BlindSheet, mark: str, page: str) -> None:
    write(canvas, LEFT, 30, f"{sheet.number}, list version {mark}. {FOOT}", size=8)
    canvas.setFont(PLAIN, 8)
    canvas.drawRightString(RIGHT, 30, page)


def _moment(sheet: BlindSheet) -> Block:
    """Boxes for the count moment and who counted."""

    def draw(canvas: Canvas, y: float) -> None:
        labels = ["count moment: day", "count began, hour", "count ended, hour"]
        labels.append("letter from" if sheet.letter else "counted by")
        widths = (110.0, 95.0, 95.0, RIGHT - LEFT - 300.0)
        x = LEFT
        for label, width in zip(labels, widths, strict=True):
            box(canvas, x, y, width - 4, 28, label=label, strong=True)
            x += width

    return Block(36, draw)


def _hints(sheet: BlindSheet) -> Block:
    told = hints(
        round_=sheet.round,
        windows_=sheet.windows,
        joined=any(line.joined for line in sheet.lines),
        classes=(line.count_class for line in sheet.lines),
        units=(line.unit for line in sheet.lines),
        roll_call=any(line.individuals for line in sheet.lines),
    )
    rows = [
        (bullet if row == 0 else "", part)
        for bullet, hint in (("-", hint) for hint in told)
        for row, part in enumerate(wrapped(hint, RIGHT - LEFT - 12, PLAIN, 8.5))
    ]

    def draw(canvas: Canvas, y: float) -> None:
        for row, (bullet, part) in enumerate(rows):
            write(canvas, LEFT, y - 8 - row * LEADING, bullet, size=8.5)
            write(canvas, LEFT + 10, y - 8 - row * LEADING, part, size=8.5)

    return Block(len(rows) * LEADING + 8, draw)


def _columns(canvas: Canvas, y: float) -> None:
    for x, name in _NAMED:
        write(canvas, x, y - 9, name, font=BOLD, size=8.5)


_NAMED = ((LEFT + 2, "line"), (NAME, "animal"), (UNIT, "unit, class"), (TALLY, "tally"), (RESULT, "result"))
_HEADING = Block(13, _columns)


def _write_ins(rows: int) -> Iterator[Block]:
    def head(canvas: Canvas, y: float) -> None:
        write(canvas, LEFT, y - 18, "Not on the list", font=BOLD, size=10)
        about = "Write what you see and take a picture; a number or a letter. It changes no book by itself."
        write(canvas, NAME + 70, y - 18, about, size=8, soft=True)

    def row(canvas: Canvas, y: float) -> None:
        box(canvas, LEFT, y, UNIT - LEFT - 6, 26, label="+ name, as far as you know it")
        box(canvas, UNIT, y, TALLY - UNIT - 6, 26, label="unit")
        box(canvas, TALLY, y, RESULT - TALLY - 6, 26, label="tally")
        box(canvas, RESULT, y, 42, 26, label="result", strong=True)
        tick(canvas, RESULT + 47, y - 17, "picture")

    def first(canvas: Canvas, y: float) -> None:
        head(canvas, y)
        row(canvas, y - 24)

    named = Block(24, head)
    # The heading does not stand alone at the foot of a page.
    yield Block(24 + 29, first, named)
    for _ in range(rows - 1):
        yield Block(29, row, named)


def _signatures(sheet: BlindSheet) -> Block:
    """Who counted, who took the sheet back, who typed it; each with day and hour."""
    who = ["who wrote the letter"] if sheet.letter else ["first counter", "second counter, if two counted"]

    def draw(canvas: Canvas, y: float) -> None:
        half = (RIGHT - LEFT) / 2
        for n, label in enumerate((*who, "sheet taken back by, day and hour", "typed by, day and hour")):
            across, down = n % 2, n // 2
            box(
                canvas,
                LEFT + across * half,
                y - 8 - down * 34,
                half - 4,
                31,
                label=f"{label}: name and signature",
            )

    return Block(8 + 34 * 2, draw, ends=True)
