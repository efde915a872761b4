"""The letters of a print: sizes, faces, and how names stand in them.

Nothing is smaller than 7 points: read on a wall or in a copy of a copy, less is a guess (common practice, no
source).
"""

from html import escape

from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Paragraph

from inventory.doors.printed import printable
from inventory.names.rules.italics import Italics, italic_part

from ..rules.document import Name

SMALLEST = 7
TEXT = ParagraphStyle("text", fontName="Helvetica", fontSize=8, leading=9.8)
SMALL = ParagraphStyle("small", parent=TEXT, fontSize=SMALLEST, leading=8.4)
NUMBER = ParagraphStyle("number", parent=TEXT, alignment=TA_RIGHT)
# A number in a row of small words.
COUNTED = ParagraphStyle("counted", parent=SMALL, alignment=TA_RIGHT)
HEAD = ParagraphStyle("head", parent=SMALL, fontName="Helvetica-Bold", alignment=TA_RIGHT)
LEFT = ParagraphStyle("left", parent=HEAD, alignment=0)
TITLE = ParagraphStyle("title", parent=TEXT, fontName="Helvetica-Bold", fontSize=15, leading=19, spaceAfter=4)
PART = ParagraphStyle("part", parent=TITLE, fontSize=12, leading=15, spaceBefore=8)
BLOCK = ParagraphStyle("block", parent=TITLE, fontSize=9.5, leading=12, spaceBefore=8, spaceAfter=2)
FACTS = ParagraphStyle("facts", parent=SMALL)
NOTE = ParagraphStyle("note", parent=TEXT, spaceBefore=1)


def words(text: str, style: ParagraphStyle) -> Paragraph:
    return Paragraph(xml(text), style)


def xml(text: str) -> str:
    """Text for a paragraph, in the letters of the standard fonts; a true minus is a hyphen there."""
    return escape(printable(text.replace("\N{MINUS SIGN}", "-")))


def small(text: str) -> str:
    """What stands small below a figure or a name; ``text`` is markup already."""
    return f'<font name="Helvetica" size="{SMALLEST}">{text}</font>'


def scientific(name: str) -> str:
    """A scientific name as it is printed."""
    leans = italic_part(name)
    return f"<i>{xml(leans)}</i>{xml(name[len(leans) :])}" if leans else xml(name)


def name_xml(name: Name) -> str:
    """Accepted name, and small below it who named it, what was typed, and the common name."""
    text = scientific(name.accepted)
    if name.note:
        text += f'<super size="{SMALLEST}">{name.note}</super>'
    below = [
        xml(name.authorship),
        *(f"typed as {scientific(typed)}" for typed in name.typed),
        xml(name.common),
    ]
    more = ", ".join(word for word in below if word)
    tag = f" [{name.count_class}]" if name.count_class else ""
    return f"{text}{tag}<br/>{small(more)}" if more else text + tag


def slanted(italics: Italics, text: str) -> str:
    """A sentence for a paragraph, the names in it as they are printed."""
    return "".join(f"<i>{xml(piece)}</i>" if leans else xml(piece) for piece, leans in italics.cut(text))
