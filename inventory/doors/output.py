"""Rows as a table for people, or as csv or json for programs."""

import csv
import json
import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from io import StringIO
from typing import Any, Protocol

from django.core.management.base import CommandParser
from rich.console import Console
from rich.table import Table

FORMATS = ("table", "csv", "json")


# A table in a pipe is as wide as its content, so that nothing is cut.
_WIDE = 400


class Out(Protocol):
    """Where a command writes: a stream, or Django's wrapper of one."""

    def write(self, text: str, /) -> Any: ...

    def isatty(self) -> bool: ...


def add_format_option(parser: CommandParser, *, workbook: bool = False) -> None:
    """Adds ``--format``; with ``workbook`` also ``xlsx`` and ``--out FILE``."""
    choices = (*FORMATS, "xlsx") if workbook else FORMATS
    parser.add_argument("--format", choices=choices, default="table", help="form of the output")
    if workbook:
        parser.add_argument("--out", metavar="FILE", help="file to write; needed for xlsx")


def write_rows(
    rows: Iterable[Mapping[str, Any]],
    columns: Sequence[str],
    form: str,
    out: Out,
    *,
    title: str = "",
    exact: Collection[str] = (),
) -> None:
    """Writes ``rows`` to ``out``.

    csv has one header line and ``\\n`` line ends; a text there that a spreadsheet would run as a
    formula begins with an apostrophe, unless its column is ``exact``: then it is given back letter
    by letter to the program that sent it. json is a list of objects, each text as it is. The table is
    drawn as wide as its content when ``out`` is not a terminal, so that nothing is cut in a pipe.
    """
    # Put together first: Django's wrapper would end every piece that it is given with a new line.
    text = StringIO()
    if form == "csv":
        writer = csv.writer(text, lineterminator="\n")
        # Headings too: a house may write its own.
        writer.writerow([_cell(column) for column in columns])
        turns = [_text if column in exact else _cell for column in columns]
        writer.writerows(
            [turn(row[column]) for turn, column in zip(turns, columns, strict=True)] for row in rows
        )
    elif form == "json":
        plain = [{column: row[column] for column in columns} for row in rows]
        json.dump(plain, text, ensure_ascii=False, indent=1, default=str)
        text.write("\n")
    else:
        _draw(list(rows), columns, text, title, width=None if out.isatty() else _WIDE)
    out.write(text.getvalue())


def _draw(
    rows: list[Mapping[str, Any]], columns: Sequence[str], text: StringIO, title: str, *, width: int | None
) -> None:
    table = Table(title=title or None, title_justify="left")
    for column in columns:
        numeric = all(isinstance(row[column], int) for row in rows)
        table.add_column(column.replace("_", " "), justify="right" if numeric and rows else "left")
    for row in rows:
        table.add_row(*(_text(row[column]) for column in columns))
    Console(file=text, width=width, highlight=False, markup=False).print(table)


# What makes a spreadsheet run a text as a formula (OWASP, "CSV Injection"); a signed number does not.
_FORMULA = re.compile(r"[=@\t\r]|[+-](?![\d.,]*$)")


def _cell(value: Any) -> str:
    """A value in a csv file: text stays text when a spreadsheet opens it."""
    text = _text(value)
    return f"'{text}" if isinstance(value, str) and _FORMULA.match(text) else text


def plain_cell(value: Any) -> str:
    """A value as it may stand in a csv file that somebody opens with a spreadsheet."""
    return _cell(value)


def _text(value: Any) -> str:
    return "" if value is None else str(value)
