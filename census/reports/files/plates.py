"""What stands between the tables of a print: charts beside each other with their words, and the picture."""

from collections.abc import Sequence
from io import BytesIO

from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Flowable, Image, Paragraph, Table, TableStyle

from ..queries.pictured import Pictured
from ..rules.document import Chart
from .drawn import drawn

ABREAST = 3
GAP = 12.0
# The picture is no wider and no higher than this, in points.
PICTURE = (170.0, 150.0)
_PLAIN = TableStyle(
    [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), GAP),
        ("TOPPADDING", (0, 0), (-1, -1), 4),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
    ]
)


def plates(charts: Sequence[tuple[list[Paragraph], Chart, Paragraph]], width: float) -> list[Flowable]:
    """Rows of charts, each with what stands above and below it; a row is never cut by the end of a page."""
    each = width / ABREAST
    cells = [[*above, drawn(chart.svg, each - GAP), below] for above, chart, below in charts]
    rows = [cells[at : at + ABREAST] for at in range(0, len(cells), ABREAST)]
    return [
        Table([row], colWidths=[each] * len(row), hAlign="LEFT", style=_PLAIN, splitByRow=0) for row in rows
    ]


def beside_picture(
    words: Sequence[Flowable], picture: Pictured, caption: str, style: ParagraphStyle, width: float
) -> Table:
    """The words with the picture at their right, who took it below it."""
    wide, high = PICTURE
    scale = min(wide / picture.width, high / picture.height)
    image = Image(BytesIO(picture.content), picture.width * scale, picture.height * scale, hAlign="LEFT")
    right = [image, Paragraph(caption, style)]
    return Table(
        [[list(words), right]], colWidths=[width - wide - GAP, wide + GAP], hAlign="LEFT", style=_PLAIN
    )


def in_two_columns(words: Sequence[Flowable], width: float) -> Table:
    """The words in two columns, read down the first."""
    half = (len(words) + 1) // 2
    columns = [list(words[:half]), list(words[half:])]
    return Table([columns], colWidths=[width / 2, width / 2], hAlign="LEFT", style=_PLAIN)
