"""What closes a print stands below lines that it speaks of, never alone on a page."""

from collections.abc import Sequence

from reportlab.platypus import CondPageBreak, Flowable, KeepTogether

# So many lines of the last table go along when what closes the print goes to another page.
ALONG = 3


class WithEnd(Flowable):
    """A table and what closes the print below it. Where only the table still fits on the page, its last lines
    stand on the next one, under its heading, with the end."""

    def __init__(self, table: Flowable, end: Sequence[Flowable]) -> None:
        super().__init__()
        self._table, self._end = table, list(end)

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Higher than any page, so that it is asked to split, which is where it is laid out."""
        return width, float(0xFFFFFF)

    def split(self, width: float, height: float) -> list[Flowable]:
        """The pieces for this page and the next."""
        table, end = self._table, KeepTogether(self._end)
        _, high = table.wrap(width, height)
        below = sum(
            one.wrap(width, height)[1] + one.getSpaceBefore() + one.getSpaceAfter() for one in self._end
        )
        if high + below <= height:
            return [table, end]
        # The library's own name for the heights of the rows.
        rows: Sequence[float] = vars(table)["_rowHeights"]
        pieces = table.split(width, min(height, high - sum(rows[-ALONG:]) + 0.1))
        if high > height:
            # Full, or cut short for the lines that go along: nothing more belongs on this page.
            return [pieces[0], CondPageBreak(height), WithEnd(pieces[1], self._end)] if pieces else []
        if len(pieces) < 2:
            return [table, end]
        return [pieces[0], CondPageBreak(high + below), pieces[1], end]
