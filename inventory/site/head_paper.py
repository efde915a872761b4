"""The head of the hash chain as a paper to sign: what stands on it proves everything entered before."""

from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from typing import Any
from xml.sax.saxutils import escape

import segno
from reportlab.lib.colors import black
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from inventory.book.rules.days import day_in_words
from inventory.doors.printed import printable

_EDGE = 56.0
_TEXT = ParagraphStyle("text", fontName="Helvetica", fontSize=11, leading=15, spaceAfter=8)
_TITLE = ParagraphStyle("title", fontName="Helvetica-Bold", fontSize=18, leading=24, spaceAfter=10)
# A hash is typed off again: in groups of eight, in a face that tells 0 from O.
_HASH = ParagraphStyle("hash", fontName="Courier-Bold", fontSize=14, leading=22, spaceAfter=12)
_GROUP = 8
_QR_SIZE = 110.0


@dataclass(frozen=True, slots=True)
class Head:
    """``head`` as the command `verify` takes it, "1204:0f0f..."; ``moment`` in the house's zone."""

    house: str
    head: str
    moment: datetime
    entered_last: datetime | None

    @property
    def number(self) -> str:
        return self.head.partition(":")[0]

    @property
    def groups(self) -> list[str]:
        """The hash in groups of eight, as a person reads it aloud."""
        told = self.head.partition(":")[2]
        return [told[at : at + _GROUP] for at in range(0, len(told), _GROUP)]


def write_head(head: Head) -> bytes:
    """One page A4 as a PDF; the same head and moment give the same bytes."""
    out = BytesIO()
    paper = SimpleDocTemplate(
        out, pagesize=A4, leftMargin=_EDGE, rightMargin=_EDGE, topMargin=_EDGE, bottomMargin=_EDGE,
        title=printable(f"{head.house}: head of the chain, event {head.number}"),
        author=printable(head.house), invariant=1,
    )  # fmt: skip
    last = _moment(head.entered_last) if head.entered_last else "nothing yet"
    half = len(head.groups) // 2
    paper.build(
        [
            _words(head.house, _TEXT),
            _words("Head of the chain of the book", _TITLE),
            _words(f"Printed {_moment(head.moment)}. Last entry: {last}.", _TEXT),
            _words(f"Event {head.number}", _HASH),
            _words(" ".join(head.groups[:half]), _HASH),
            _words(" ".join(head.groups[half:]), _HASH),
            _words(
                "Whoever keeps this paper can show later that nothing which was in the book on this day was "
                "altered, removed or put in between. Keep it where the computer is not. To check, let the "
                "administrator run this line; what is after the word against is also in the square:",
                _TEXT,
            ),
            Paragraph(
                f"python manage.py verify --against<br/>{head.number}:{'<br/>'.join(_halves(head))}",
                ParagraphStyle("line", parent=_HASH, fontSize=10, leading=14),
            ),
            _Square(head.head),
            Spacer(0, 20),
            _signatures(),
        ]
    )
    return out.getvalue()


def _moment(moment: datetime) -> str:
    return f"{day_in_words(moment.date())} {moment:%H:%M %Z}"


def _words(text: str, style: ParagraphStyle) -> Paragraph:
    return Paragraph(escape(printable(text)), style)


def _halves(head: Head) -> list[str]:
    told = head.head.partition(":")[2]
    return [told[: len(told) // 2], told[len(told) // 2 :]]


class _Square(Flowable):
    """A text as a QR code (ISO/IEC 18004), for a camera instead of fingers."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.rows = list(segno.make(text, error="m").matrix_iter(border=2))
        self.width = self.height = _QR_SIZE

    def draw(self) -> None:
        size = _QR_SIZE / len(self.rows)
        for down, row in enumerate(self.rows):
            for across, dark in enumerate(row):
                if dark:
                    at = (across * size, _QR_SIZE - (down + 1) * size)
                    self.canv.rect(*at, size, size, stroke=0, fill=1)


def _signatures() -> Table:
    cells: list[list[Any]] = [
        [_words("Name, date, signature", _TEXT), "", _words("Name, date, signature", _TEXT)],
        ["", "", ""],
    ]
    table = Table(cells, colWidths=[220.0, 20.0, 220.0], rowHeights=[20.0, 46.0], hAlign="LEFT")
    # A line for each of the two who sign.
    lines = [("LINEBELOW", (at, 1), (at, 1), 0.6, black) for at in (0, 2)]
    table.setStyle(TableStyle([*lines, ("LEFTPADDING", (0, 0), (-1, -1), 0)]))
    return table
