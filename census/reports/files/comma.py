"""One part of a report as csv: a line each, no totals, numbers as numbers."""

from collections.abc import Iterator
from typing import Any

from inventory.doors.output import Out, write_rows

from ..rules.document import Part
from .grid import Value, headings, row_of

# Of a per cent: a single animal of a million is told apart.
DIGITS = 4


def write_csv(part: Part, out: Out, *, form: str = "csv", title: str = "") -> None:
    """Writes ``part`` in one of the forms of output."""
    columns = headings(part)
    write_rows(_records(part, columns), columns, form, out, title=title)


def _records(part: Part, columns: list[str]) -> Iterator[dict[str, Any]]:
    for table in part.tables():
        for line in table.lines:
            yield dict(zip(columns, map(_plain, row_of(part, table, line)), strict=True))


def _plain(value: Value) -> Value:
    return round(value, DIGITS) if isinstance(value, float) else value
