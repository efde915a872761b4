"""One part of a report as csv: a line each, no totals, numbers as numbers."""

from collections.abc import Iterator
from typing import Any

from census.change.files.running import said_on_each
from inventory.doors.output import Out, write_rows

from ..rules.document import Part
from .grid import Value, headings, row_of

# Of a per cent: a single animal of a million is told apart.
DIGITS = 4


def write_csv(part: Part, out: Out, *, form: str = "csv", title: str = "", running: str = "") -> None:
    """Writes ``part`` in one of the forms of output. ``running``: that the period is not over; then it
    stands in a last column of every line."""
    columns = headings(part)
    write_rows(*said_on_each(_records(part, columns), columns, running), form, out, title=title)


def _records(part: Part, columns: list[str]) -> Iterator[dict[str, Any]]:
    for table in part.tables():
        for line in table.lines:
            yield dict(zip(columns, map(_plain, row_of(part, table, line)), strict=True))


def _plain(value: Value) -> Value:
    return round(value, DIGITS) if isinstance(value, float) else value
