"""Writes all that is held about a person: JSON for programs, a workbook for the person."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import xlsxwriter  # type: ignore[import-untyped]  # it ships no types

Held = Mapping[str, Sequence[Mapping[str, Any]]]

_LONGEST_TITLE = 31
_LONGEST_CELL = 32_767


def as_json(held: Held, told: Mapping[str, Any]) -> str:
    """``told`` stands above the tables: who, when, and where the name stands besides."""
    return json.dumps({**told, "tables": held}, ensure_ascii=False, indent=1, default=str) + "\n"


def write_workbook(held: Held, out: Path) -> None:
    """One sheet for each table; every cell is text, so that none is run as a formula."""
    options = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(str(out), options) as book:
        head = book.add_format({"bold": True, "bottom": 1})
        for place, (title, rows) in enumerate(held.items(), start=1):
            short = title if len(title) <= _LONGEST_TITLE else f"{title[: _LONGEST_TITLE - 4]}~{place}"
            page = book.add_worksheet(short)
            page.freeze_panes(1, 0)
            columns = list(rows[0])
            for at, column in enumerate(columns):
                page.write_string(0, at, column, head)
            for number, row in enumerate(rows, start=1):
                for at, column in enumerate(columns):
                    value = row[column]
                    page.write_string(number, at, "" if value is None else str(value)[:_LONGEST_CELL])
