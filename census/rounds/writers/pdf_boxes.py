"""The pieces that a printed count sheet is drawn of: text, boxes, and the lines to count."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from reportlab.lib.colors import Color, black
from reportlab.lib.pagesizes import A4
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from inventory.doors.printed import printable
from inventory.names.rules.italics import italic_part

from ..queries.blind import BlindIndividual, BlindLine
from ..rules.words import SACFOR, Seen
from .sheet_pictures import WIDE, SmallPicture

WIDTH, HEIGHT = A4
LEFT, RIGHT = 40.0, WIDTH - 36.0
PLAIN, BOLD, ITALIC = "Helvetica", "Helvetica-Bold", "Helvetica-Oblique"
# Dark enough for a copy of a copy.
SOFT = Color(0.25, 0.25, 0.25)
# No letters are smaller, in points.
SMALLEST = 7
RULE = Color(0.6, 0.6, 0.6)

# Left edges of the columns.
NAME, UNIT, TALLY, RESULT = LEFT + 26, LEFT + 216, LEFT + 288, LEFT + 434
PAD = 4.0
LEADING = 10.5
PASSES = 5
SEXES = ("males", "females", "herm.", "unknown")
# The row of a known animal: its name, below it its marks, and clear of the rule below.
KNOWN = 21.0
NOT_A_NUMBER = "write 0 if none"

Draw = Callable[[Canvas, float], None]


@dataclass(frozen=True, slots=True)
class Block:
    """A piece that is not cut by the end of a page. ``draw`` is given its upper edge. ``again`` stands above
    the next block when a page ends between the two. ``listed``: the columns are named above it on a page that
    begins with it. ``ends``: it says nothing without what stands above it, and takes some of that along to
    another page."""

    height: float
    draw: Draw
    again: "Block | None" = None
    listed: bool = False
    ends: bool = False


def write(
    canvas: Canvas, x: float, y: float, text: str, *, font: str = PLAIN, size: float = 9, soft: bool = False
) -> None:
    """One line of text with its base line at ``y``."""
    canvas.setFillColor(SOFT if soft else black)
    canvas.setFont(font, size)
    canvas.drawString(x, y, printable(text))


def wrapped(text: str, width: float, font: str = PLAIN, size: float = 9) -> list[str]:
    """``text`` in lines no wider than ``width``; a word that is wider is cut."""
    lines: list[str] = []
    for word in printable(text).split():
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and stringWidth(joined, font, size) <= width:
            lines[-1] = joined
        else:
            lines += _cut(word, width, font, size)
    return lines


def _cut(word: str, width: float, font: str, size: float) -> list[str]:
    if len(word) < 2 or stringWidth(word, font, size) <= width:
        return [word]
    fits = next((n for n in range(len(word) - 1, 1, -1) if stringWidth(word[:n], font, size) <= width), 1)
    return [word[:fits], *_cut(word[fits:], width, font, size)]


def box(
    canvas: Canvas, x: float, y: float, width: float, height: float, *, label: str = "", strong: bool = False
) -> None:
    """An empty box with its upper left corner at ``x``, ``y`` and a small label inside it."""
    canvas.setStrokeColor(black if strong else RULE)
    canvas.setLineWidth(1.1 if strong else 0.6)
    canvas.rect(x, y - height, width, height)
    if label:
        write(canvas, x + 2.5, y - 7, label, size=SMALLEST, soft=True)


def tick(canvas: Canvas, x: float, y: float, label: str) -> float:
    """A small box to tick on the base line ``y``, its label behind it; gives where the next may begin."""
    canvas.setStrokeColor(black)
    canvas.setLineWidth(0.8)
    canvas.rect(x, y - 1.5, 8.5, 8.5)
    write(canvas, x + 12, y, label, size=8)
    return x + 12 + stringWidth(label, PLAIN, 8) + 10


def line_blocks(line: BlindLine, *, place: str, picture: SmallPicture | None = None) -> Iterator[Block]:
    """The blocks of one line: itself, and a row for each known animal. ``place`` is said where the sheet has
    lines of several. ``picture`` stands at the right of the names."""
    words = _words(line, place, beside=WIDE + 4 if picture else 0.0)
    text = len(words) * LEADING + 2 * PAD
    boxes, height = _boxes(line)
    tall = max(text, max(height, picture.height if picture else 0.0) + 2 * PAD)

    def draw(canvas: Canvas, y: float) -> None:
        _rule(canvas, y)
        write(canvas, LEFT + 2, y - PAD - 8, str(line.number), font=BOLD, size=10)
        for row, (part, font, size) in enumerate(words):
            write(canvas, NAME, y - PAD - 8 - row * LEADING, part, font=font, size=size)
        write(canvas, UNIT, y - PAD - 8, line.unit, font=BOLD, size=8.5)
        if line.count_class:
            write(canvas, UNIT, y - PAD - 8 - LEADING, f"class {line.count_class}", size=8, soft=True)
        if picture:
            picture.draw(canvas, UNIT - 6, y - PAD)
        boxes(canvas, y - PAD)

    again = _again(line) if line.individuals else None
    yield Block(tall, draw, again, listed=True)
    for one in line.individuals:
        yield Block(KNOWN, _individual(one), again, listed=True)


def _words(line: BlindLine, place: str, *, beside: float) -> list[tuple[str, str, float]]:
    """``beside``: the width that something else takes."""
    width = UNIT - NAME - 6 - beside
    face = _face(line.name)
    found = [(part, face, 9.5) for part in wrapped(line.name, width, face, 9.5)]
    found += [(part, PLAIN, 8.5) for part in wrapped(line.common_name, width, PLAIN, 8.5)]
    more = ", ".join(part for part in (place, line.marks, line.note) if part)
    return found + [(part, PLAIN, 7.5) for part in wrapped(more, width, PLAIN, 7.5)]


def _boxes(line: BlindLine) -> tuple[Draw, float]:
    """What the counter fills in on this line, and how high it is."""
    if line.presence:
        return _letters, 24
    if line.individuals:
        return _seen_in_all, 24
    if line.count_class == "C":
        return (lambda canvas, y: _passes(canvas, y, sexed=line.sexed)), 74 if line.sexed else 52
    return (lambda canvas, y: _counted(canvas, y, sexed=line.sexed)), 50 if line.sexed else 28


def _counted(canvas: Canvas, y: float, *, sexed: bool) -> None:
    box(canvas, TALLY, y, RESULT - TALLY - 6, 26, label="tally")
    box(canvas, RESULT, y, RIGHT - RESULT, 26, label=f"result, {NOT_A_NUMBER}", strong=True)
    if sexed:
        _sexes(canvas, y - 29)


def _passes(canvas: Canvas, y: float, *, sexed: bool) -> None:
    each = (RESULT - TALLY - 6) / PASSES
    for n in range(PASSES):
        box(canvas, TALLY + n * each, y, each, 26, label=f"pass {n + 1}")
    box(canvas, RESULT, y, RIGHT - RESULT, 26, label="middle one, 0 if none", strong=True)
    box(canvas, TALLY, y - 29, RESULT - TALLY - 6, 20, label="method: passes, pictures, squares ...")
    half = (RIGHT - RESULT) / 2
    box(canvas, RESULT, y - 29, half, 20, label="lowest")
    box(canvas, RESULT + half, y - 29, half, 20, label="highest")
    if sexed:
        _sexes(canvas, y - 52)


def _sexes(canvas: Canvas, y: float) -> None:
    each = (RIGHT - TALLY) / len(SEXES)
    for n, sex in enumerate(SEXES):
        box(canvas, TALLY + n * each, y, each, 20, label=sex)


def _letters(canvas: Canvas, y: float) -> None:
    for n, letter in enumerate(SACFOR):
        x = TALLY + 10 + n * 23
        canvas.setStrokeColor(RULE)
        canvas.setLineWidth(0.6)
        canvas.circle(x, y - 12, 9)
        write(canvas, x - stringWidth(letter, BOLD, 11) / 2, y - 16, letter, font=BOLD, size=11)
    box(canvas, RESULT, y, (RIGHT - RESULT) / 2, 24, label="cover, %")
    tick(canvas, RESULT + (RIGHT - RESULT) / 2 + 5, y - 15, "picture")


def _seen_in_all(canvas: Canvas, y: float) -> None:
    write(canvas, TALLY, y - 15, "Tick each animal below.", size=8, soft=True)
    box(canvas, RESULT, y, RIGHT - RESULT, 24, label="seen in all, 0 if none", strong=True)


def _individual(one: BlindIndividual) -> Draw:
    def draw(canvas: Canvas, y: float) -> None:
        width = TALLY - NAME - 18
        names = ", ".join(dict.fromkeys(part for part in (one.house_name, one.accession) if part))
        write(canvas, NAME + 10, y - 9, wrapped(names, width, BOLD, 8.5)[0], font=BOLD, size=8.5)
        for part in wrapped(one.marks, width, PLAIN, 7.5)[:1]:
            write(canvas, NAME + 10, y - 17, part, size=7.5, soft=True)
        x = TALLY
        for seen in Seen:
            x = tick(canvas, x, y - 11, seen.value)

    return draw


def _face(name: str) -> str:
    """Species lean; what was written in plain words does not."""
    return ITALIC if italic_part(name) else PLAIN


def _again(line: BlindLine) -> Block:
    face = _face(line.name)

    def draw(canvas: Canvas, y: float) -> None:
        _rule(canvas, y)
        write(canvas, LEFT + 2, y - 11, str(line.number), font=BOLD, size=10)
        write(canvas, NAME, y - 11, wrapped(line.name, 200, face, 9.5)[0], font=face, size=9.5)
        write(canvas, TALLY, y - 11, "continued", size=8, soft=True)

    return Block(17, draw)


def _rule(canvas: Canvas, y: float) -> None:
    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.6)
    canvas.line(LEFT, y, RIGHT, y)
