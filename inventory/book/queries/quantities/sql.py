"""The few places where SQLite and PostgreSQL must be asked in different words.

Everything the reader asks in raw SQL goes through :func:`rows` or :func:`numbers`. Lists of numbers travel
as one JSON parameter, so that no query meets a limit on parameters however long the list is.
"""

import json
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

import numpy as np
from django.db import connection

from inventory.book.rules.columns import Numbers


def rows(sql: str, params: Sequence[Any]) -> list[tuple[Any, ...]]:
    """All rows of one query."""
    with connection.cursor() as cursor:
        cursor.execute(sql, params)
        found: list[tuple[Any, ...]] = cursor.fetchall()
    return found


def numbers(sql: str, params: Sequence[Any], width: int) -> Numbers:
    """All rows of one query, each value a whole number, as ``width`` columns.

    The database writes each column into one text, which is read in less time than a row of objects each. A
    text of SQLite or PostgreSQL has a thousand million characters at most, some hundred million rows.
    """
    columns = [f"c{i}" for i in range(width)]
    texts = ", ".join(map(in_one_text, columns))
    count, *told = rows(
        f"WITH told({', '.join(columns)}) AS ({sql}) SELECT COUNT(*), {texts} FROM told", params
    )[0]
    return out_of_texts(told, count)


def in_one_text(column: str) -> str:
    """The whole numbers of all rows of a group as one text, for :func:`out_of_texts`. Several columns of one
    group stand in the same order, for all of them take each row as it comes."""
    if connection.vendor == "postgresql":
        return f"STRING_AGG(CAST({column} AS text), ' ')"
    return f"GROUP_CONCAT({column}, ' ')"


def out_of_texts(told: Sequence[str | None], count: int) -> Numbers:
    """A column for each text that :func:`in_one_text` made of ``count`` rows."""
    found = [np.fromstring(text or "", np.int64, sep=" ") for text in told]
    if any(len(column) != count for column in found):
        raise ValueError(f"not every value of {count} rows is a whole number")
    return np.array(found, dtype=np.int64).reshape(len(told), count)


def moment(value: datetime) -> Any:
    """``value`` as the database compares it: SQLite keeps moments as text in UTC."""
    return connection.ops.adapt_datetimefield_value(value)


def moment_text(value: datetime) -> str:
    """``value`` as text that the database can compare with a stored moment after a cast."""
    return str(moment(value))


def as_moments(values: Iterable[Any]) -> list[datetime]:
    """Moments out of a raw query, aware: SQLite gives text in UTC."""
    if connection.vendor == "postgresql":
        return list(values)
    return [datetime.fromisoformat(f"{value}+00:00") for value in values]


def as_compared(column: str) -> str:
    """A column of moments whose values compare with :func:`moment`: of a plain column SQLite's driver makes
    a datetime of every value, which takes longer than to read it."""
    return f"CAST({column} AS text)" if connection.vendor == "sqlite" else column


def among(column: str, ids: Iterable[int]) -> tuple[str, list[Any]]:
    """A condition that ``column`` is one of ``ids``, with its parameters."""
    listed = list(ids)
    if connection.vendor == "postgresql":
        return f"{column} = ANY(%s)", [listed]
    return f"{column} IN (SELECT value FROM json_each(%s))", [json.dumps(listed)]


def known(known_at: datetime | None, alias: str = "f") -> tuple[str, list[Any]]:
    """The condition of what was in the book at ``known_at`` (None: all of it)."""
    if known_at is None:
        return "", []
    return f" AND {alias}.entered_at <= %s", [moment(known_at)]


def out_of_index(column: str) -> str:
    """``column`` such that SQLite looks for no index of it, where another index is the better way.

    Without statistics SQLite cannot know which of two ranges is the narrow one.
    """
    return f"+{column}" if connection.vendor == "sqlite" else column
