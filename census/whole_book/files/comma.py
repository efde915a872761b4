"""A table as csv: UTF-8, a heading, ISO 8601, and no text that a spreadsheet would run as a formula."""

import csv
import json
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from io import StringIO
from typing import Any

from inventory.doors.output import plain_cell

from ..queries.rows import Row
from ..rules.shapes import Column, Kind, Table
from .hashed import Hashed


def text_of(kind: Kind) -> Callable[[Any], Any]:
    """Turns a value into what stands in files of text: numbers stay numbers, all else is text or nothing."""
    if kind is Kind.MOMENT:
        return _moment
    if kind is Kind.JSON:
        return _json
    if kind in (Kind.DAY, Kind.UUID):
        return lambda value: None if value is None else str(value)
    if kind is Kind.TRUTH:
        return lambda value: None if value is None else int(value)
    return lambda value: value


def _moment(value: datetime | None) -> str | None:
    return None if value is None else value.astimezone(UTC).isoformat()


def _json(value: Any) -> str | None:
    return None if value is None else json.dumps(value, ensure_ascii=False, sort_keys=True)


def write_csv(table: Table, batches: Iterable[list[Row]], out: Hashed) -> Iterator[int]:
    """Writes the table; says after each batch how many rows it was."""
    columns: tuple[Column, ...] = table.columns
    turns = [text_of(column.kind) for column in columns]
    _put(out, [[column.name for column in columns]])
    for batch in batches:
        _put(
            out,
            ([plain_cell(turn(value)) for turn, value in zip(turns, row, strict=True)] for row in batch),
        )
        yield len(batch)


def _put(out: Hashed, rows: Iterable[list[Any]]) -> None:
    text = StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    out.write(text.getvalue().encode())
