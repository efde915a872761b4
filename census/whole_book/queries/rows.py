"""Rows of the tables as they were at one moment, in batches: memory stays the same however many there are."""

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from typing import Any

from django.db import connection, transaction
from django.db.models import Model

from ..rules.shapes import Table

AT_ONCE = 5_000

Row = tuple[Any, ...]


@contextmanager
def one_moment() -> Iterator[None]:
    """What is read inside is the book of one moment, and nobody who writes is kept waiting.

    On PostgreSQL one transaction, REPEATABLE READ and READ ONLY. On SQLite one deferred transaction of a
    reader: Django's own would begin IMMEDIATE and hold the writers up. Inside a transaction of the
    caller's it is that one's moment.
    """
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
    else:
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")
        try:
            yield
        finally:
            with connection.cursor() as cursor:
                cursor.execute("ROLLBACK")


def batches(model: type[Model], table: Table) -> Iterator[list[Row]]:
    """The rows of a table in the order of their numbers, five thousand at a time. One query."""
    rows = (
        model._base_manager.order_by("pk")
        .values_list(*(column.field for column in table.columns))
        .iterator(chunk_size=AT_ONCE)
    )
    while batch := list(islice(rows, AT_ONCE)):
        yield batch
