"""Rows of the tables as they were at one moment, in batches: memory stays the same however many there are."""

from collections.abc import Iterator
from itertools import islice
from typing import Any

from django.db.models import Model

from ..rules.shapes import Table

AT_ONCE = 5_000

Row = tuple[Any, ...]


def batches(model: type[Model], table: Table) -> Iterator[list[Row]]:
    """The rows of a table in the order of their numbers, five thousand at a time. One query."""
    rows = (
        model._base_manager.order_by("pk")
        .values_list(*(column.field for column in table.columns))
        .iterator(chunk_size=AT_ONCE)
    )
    while batch := list(islice(rows, AT_ONCE)):
        yield batch
