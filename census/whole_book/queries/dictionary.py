"""The data dictionary: every table and every column of the whole book, in rows."""

from collections.abc import Iterator

from ..rules.secrets import TABLES
from ..rules.shapes import Table
from .tables import models_out, tables_out

HEADINGS = (
    *("table", "column", "meaning", "type", "unit"),
    *("may be empty", "values", "table it points to", "Darwin Core"),
)


def dictionary() -> Iterator[tuple[str, ...]]:
    """A row for each table (its column is blank) and for each column, those that do not go out among them."""
    for _model, table in tables_out(positions=True):
        yield (table.name, "", table.meaning, "", "", "", "", "", "")
        for column in table.columns:
            yield (
                table.name,
                column.name,
                column.meaning,
                column.kind.value,
                column.unit,
                "yes" if column.empty else "no",
                " | ".join(column.values),
                column.to,
                column.term,
            )
        for name, why in table.left_out:
            yield (table.name, name, f"left out: {why}", "", "", "", "", "", "")
    for model in models_out():
        name = model._meta.db_table
        if name in TABLES:
            yield (name, "", f"left out: {TABLES[name]}", "", "", "", "", "", "")


def by_table() -> list[Table]:
    """The tables that go out, with their columns, for a page."""
    return [table for _model, table in tables_out(positions=True)]


def left_out() -> list[tuple[str, str]]:
    """The tables that never go out, and why."""
    return sorted(TABLES.items())
