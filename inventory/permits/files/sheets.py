"""What the papers of the permits share: cells that are what they say, widths, and how a sheet is printed."""

import re
from collections.abc import Iterable
from contextlib import suppress
from datetime import date
from decimal import Decimal
from typing import Any

from inventory.names.rules.italics import italic_part

NARROWEST, WIDEST = 10, 44
# Columns whose words are names of taxa.
NAMES = frozenset({"scientificName", "verbatimIdentification", "taxon"})
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def write_cell(sheet: Any, row: int, column: int, value: Any, *, day: Any, look: Any = None) -> None:
    """Numbers as numbers; a day as a day, in the look ``day``, whether it comes as one or in ISO 8601. An
    interval of days stays text, and so does what only looks like a day: a mark may be 2026-40-12."""
    if isinstance(value, str) and _DAY.fullmatch(value):
        with suppress(ValueError):
            value = date.fromisoformat(value)
    if isinstance(value, int | Decimal):
        sheet.write_number(row, column, value, look)
    elif isinstance(value, date):
        sheet.write_datetime(row, column, value, day)
    elif value is not None and value != "":
        sheet.write_string(row, column, value, look)


def leaning(code: str, text: object) -> str:
    """How much of a cell, from its beginning, is in italics."""
    return italic_part(str(text)) if code in NAMES and text else ""


def fitting(heading: str, cells: Iterable[str]) -> float:
    """As wide as the longest cell and the longest word of the heading, in letters, within bounds."""
    longest = max((*map(len, heading.split()), *map(len, cells), NARROWEST))
    return float(min(longest + 2, WIDEST))


def set_up_page(sheet: Any, title: str) -> None:
    """Landscape A4, as wide as one page, with the title and page numbers in the foot."""
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.fit_to_pages(1, 0)
    # An ampersand begins a code in a foot line.
    sheet.set_footer(f"&L{title.replace('&', '&&')}&RPage &P of &N")
