"""A table as Parquet, every column of its own type (Apache Parquet, by pyarrow)."""

import json
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from ..queries.rows import Row
from ..rules.shapes import Column, Kind, Table
from .hashed import Hashed

_TYPES: dict[Kind, Any] = {
    Kind.WHOLE: pa.int64(),
    Kind.TRUTH: pa.bool_(),
    Kind.TEXT: pa.string(),
    Kind.DAY: pa.date32(),
    Kind.MOMENT: pa.timestamp("us", tz="UTC"),
    Kind.UUID: pa.string(),
    Kind.JSON: pa.string(),
}


def write_parquet(table: Table, batches: Iterable[list[Row]], out: Hashed) -> Iterator[int]:
    """Writes the table, a batch a row group; says after each how many rows it was."""
    schema = pa.schema([_field(column) for column in table.columns], metadata={"about": table.meaning})
    turns = [_turn(column.kind) for column in table.columns]
    with pq.ParquetWriter(pa.PythonFile(out, mode="w"), schema) as writer:
        for batch in batches:
            columns = [
                pa.array([turn(value) for value in values], type=field.type)
                for turn, values, field in zip(turns, zip(*batch, strict=True), schema, strict=True)
            ]
            writer.write_table(pa.Table.from_arrays(columns, schema=schema))
            yield len(batch)


def _field(column: Column) -> Any:
    kind = pa.decimal128(column.digits, column.places) if column.kind is Kind.DECIMAL else _TYPES[column.kind]
    return pa.field(column.name, kind, nullable=column.empty, metadata={"meaning": column.meaning})


def _turn(kind: Kind) -> Callable[[Any], Any]:
    if kind is Kind.UUID:
        return lambda value: None if value is None else str(value)
    if kind is Kind.JSON:
        return lambda value: None if value is None else json.dumps(value, ensure_ascii=False, sort_keys=True)
    return lambda value: value
