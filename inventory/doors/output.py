"""Rows as a table for people, or as csv or json for programs."""

import csv
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TextIO

from django.core.management.base import CommandParser
from rich.console import Console
from rich.table import Table

FORMATS = ("table", "csv", "json")


def add_format_option(parser: CommandParser, *, workbook: bool = False) -> None:
    """Adds ``--format``; with ``workbook`` also ``xlsx`` and ``--out FILE``."""
    choices = (*FORMATS, "xlsx") if workbook else FORMATS
    parser.add_argument("--format", choices=choices, default="table", help="form of the output")
    if workbook:
        parser.add_argument("--out", metavar="FILE", help="file to write; needed for xlsx")


def write_rows(
    rows: Iterable[Mapping[str, Any]], columns: Sequence[str], form: str, out: TextIO, *, title: str = ""
) -> None:
    """Writes ``rows`` to ``out``.

    csv has one header line and ``\\n`` line ends; json is a list of objects; the table is drawn as
    wide as its content when ``out`` is not a terminal, so that nothing is cut in a pipe.
    """
    if form == "csv":
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows([_text(row[column]) for column in columns] for row in rows)
    elif form == "json":
        json.dump(
            [{column: row[column] for column in columns} for row in rows],
            out,
            ensure_ascii=False,
            indent=1,
            default=str,
        )
        out.write("\n")
    else:
        _draw(list(rows), columns, out, title)


def _draw(rows: list[Mapping[str, Any]], columns: Sequence[str], out: TextIO, title: str) -> None:
    table = Table(title=title or None, title_justify="left")
    for column in columns:
        numeric = all(isinstance(row[column], int) for row in rows)
        table.add_column(column.replace("_", " "), justify="right" if numeric and rows else "left")
    for row in rows:
        table.add_row(*(_text(row[column]) for column in columns))
    is_terminal = out.isatty()
    console = Console(file=out, width=None if is_terminal else 400, highlight=False, markup=False)
    console.print(table)


def _text(value: Any) -> str:
    return "" if value is None else str(value)
