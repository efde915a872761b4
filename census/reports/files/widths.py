"""How wide the columns of a printed table are, in points: as wide as their words ask, within the page."""

from collections.abc import Sequence
from itertools import islice

from reportlab.pdfbase.pdfmetrics import stringWidth

from inventory.doors.printed import printable

from ..rules.document import Column, Kind, Part
from . import letters

# The column at the left is as wide as its longest word in it asks, within these.
NARROWEST_LABEL, WIDEST_LABEL = 34.0, 130.0
# Between the number of a line and its label.
LINE_APART = 6.0
# So many labels are measured; those of a longer part are alike.
MEASURED = 500


def label_width(part: Part) -> float:
    """Of the column at the left, of all tables of the part alike."""
    if not part.label:
        return 0.0
    lines = islice((line for table in part.tables() for line in table.lines), MEASURED)
    texts = [part.label, *(line.label for line in lines)]
    widest = max(stringWidth(printable(text), letters.HEAD.fontName, letters.TEXT.fontSize) for text in texts)
    # Beside names, long labels take a second line rather than the room of the figures.
    return min(max(NARROWEST_LABEL, widest + 5), 90.0 if part.named else WIDEST_LABEL)


def column_widths(
    part: Part, lead: Sequence[str], above: Sequence[Column], label: float, *, within: float
) -> list[float]:
    """Of the columns that lead, then of those of figures, all of them in the room ``within``."""
    first = [max(26.0, stringWidth(str(_last(part)), letters.TEXT.fontName, 8) + LINE_APART + 3)]
    if part.label:
        first.append(label)
    if part.named:
        first.append(150.0)
    texts = [column.kind is Kind.TEXT for column in above]
    left = within - sum(first[: len(lead)])
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


def _last(part: Part) -> int:
    """The number of the last line, which is the longest."""
    return max((table.lines[-1].number for table in part.tables() if table.lines), default=0)


def _longest_word(column: Column) -> float:
    """In points, with the room at both sides of it."""
    style = letters.HEAD
    widths = (stringWidth(word, style.fontName, style.fontSize) for word in column.heading.split())
    return max(widths) + 4.5
