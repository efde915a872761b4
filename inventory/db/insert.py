"""Inserts many rows quickly: a prepared statement or COPY, without building SQL text for every row."""

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from django.db import connection, models


def insert_rows(model: type[models.Model], names: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Inserts ``rows`` of values in the order of ``names``, attribute names of ``model``'s columns.

    As ``bulk_create``, in a fraction of its time, but without signals and without giving keys back.
    Values are of the types that the model's fields hold; those left out take the database's default.
    """
    by_name = {field.attname: field for field in model._meta.concrete_fields}
    fields = [by_name[name] for name in names]
    prepare = [_preparer(field) for field in fields]
    quote = connection.ops.quote_name
    columns = ", ".join(quote(field.column) for field in fields)
    marks = ", ".join(["%s"] * len(fields))
    prepared = [
        [value if turn is None else turn(value) for turn, value in zip(prepare, row, strict=True)]
        for row in rows
    ]
    if not prepared:
        return
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # One statement for all rows, so that a trigger for each statement runs once.
            copy = f"COPY {quote(model._meta.db_table)} ({columns}) FROM STDIN"
            with connection.wrap_database_errors, cursor.copy(copy) as lines:
                for values in prepared:
                    lines.write_row(values)
        else:
            cursor.executemany(
                f"INSERT INTO {quote(model._meta.db_table)} ({columns}) VALUES ({marks})", prepared
            )


def _preparer(field: "models.Field[Any, Any]") -> Callable[[Any], Any] | None:
    """What turns a value into the database's own form, or None where it is that already."""
    if not isinstance(field, models.DateTimeField | models.UUIDField):
        return None
    # Moments repeat from row to row, and turning one costs as much as writing it.
    known: dict[Any, Any] = {}

    def turn(value: Any) -> Any:
        if value not in known:
            known[value] = field.get_db_prep_save(value, connection)
        return known[value]

    return turn
