"""What goes out: tables and their columns as plain values, and what is left out of them."""

from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """What a column holds, in the words of the dictionary."""

    WHOLE = "whole number"
    DECIMAL = "decimal number"
    TRUTH = "true or false"
    TEXT = "text"
    DAY = "day"
    MOMENT = "moment, UTC"
    UUID = "UUID"
    JSON = "JSON text"


@dataclass(frozen=True, slots=True)
class Column:
    """``field`` is what the reader asks for, ``name`` what stands in the file.

    ``to``: the table whose ``id`` it holds. ``values``: all that may stand there, where they are a list.
    ``digits`` and ``places``: of a decimal.
    """

    name: str
    field: str
    kind: Kind
    meaning: str = ""
    unit: str = ""
    term: str = ""
    to: str = ""
    values: tuple[str, ...] = ()
    empty: bool = False
    digits: int = 0
    places: int = 0


@dataclass(frozen=True, slots=True)
class Table:
    """One table of the book. ``left_out`` says of each column that does not go out why."""

    name: str
    meaning: str
    columns: tuple[Column, ...]
    left_out: tuple[tuple[str, str], ...] = ()


class Form(StrEnum):
    """In which the whole book goes out."""

    CSV = "csv"
    PARQUET = "parquet"
    XLSX = "xlsx"
