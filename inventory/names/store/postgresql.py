"""A release's names in tables of the main database, where that is PostgreSQL."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.db import connection

from .schema import INDEXES, TABLES, columns

_EACH = {int: "unnest(%s::integer[]) AS j(value)", str: "unnest(%s::text[]) AS j(value)"}
_PAIRS = "unnest(%s::integer[], %s::integer[]) AS j(a, b)"


class PostgresTables:
    """The tables ``backbone_<release>_...``, read and written over the site's own connection."""

    a = "j.a"

    def __init__(self, release_id: int) -> None:
        self._prefix = f"backbone_{release_id}_"

    def select(self, sql: str, *lists: Sequence[Any]) -> list[tuple[Any, ...]]:
        """See :class:`.schema.Asked`."""
        if not all(lists):
            return []
        parameters: list[list[Any]] = []
        kind: type = int
        for values in lists:
            if "{pairs}" in sql:
                parameters += [[pair[0] for pair in values], [pair[1] for pair in values]]
            else:
                kind = type(values[0])
                parameters.append(list(values))
        with connection.cursor() as cursor:
            cursor.execute(self._filled(sql, kind), parameters or None)
            return list(cursor.fetchall())

    def create(self, table: str) -> None:
        """See :class:`.schema.Written`."""
        of_bytes = TABLES[table].replace(" text ", ' text COLLATE "C" ')
        self.run(f"CREATE TABLE {{t}}{table} ({of_bytes})")

    def insert(self, table: str, rows: Iterable[Sequence[Any]]) -> None:
        """See :class:`.schema.Written`."""
        names = ", ".join(columns(table))
        with (
            connection.cursor() as cursor,
            cursor.copy(f"COPY {self._prefix}{table} ({names}) FROM STDIN") as copy,
        ):
            for row in rows:
                copy.write_row(row)

    def index(self, name: str) -> None:
        """See :class:`.schema.Written`."""
        self.run(f"CREATE INDEX {{t}}{name} ON {{t}}{INDEXES[name]}")

    def run(self, sql: str) -> int:
        """See :class:`.schema.Written`."""
        with connection.cursor() as cursor:
            cursor.execute(self._filled(sql, int))
            return int(cursor.rowcount)

    def drop(self, table: str) -> None:
        """See :class:`.schema.Written`."""
        self.run(f"DROP TABLE {{t}}{table}")

    def roomy(self) -> None:
        """Sorting for indexes may use 256 MiB, until the end of the transaction."""
        self.run("SET LOCAL maintenance_work_mem = '256MB'")

    def finish(self) -> None:
        """Gathers statistics."""
        for table in TABLES:
            if table != "heard":
                self.run(f"ANALYZE {{t}}{table}")

    def _filled(self, sql: str, kind: type) -> str:
        return sql.format(t=self._prefix, a="j.a", b="j.b", each=_EACH[kind], pairs=_PAIRS)
