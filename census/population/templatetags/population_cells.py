"""Rows of a table of the populations, with what is behind each figure."""

from collections.abc import Collection

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from inventory.names.templatetags.name_words import scientific, unbroken

from ..rules.answer import Datum, Table

register = template.Library()

SHORT = 14
"""Letters of a quarter, a code or a day, which stay on one line."""
LONG = 20
"""Letters of words that would be squeezed to one word a line on a narrow page, and get a wide column."""


@register.simple_tag
def body(table: Table) -> SafeString:
    """The rows of a table. Made here: a page has thousands of cells, and a template takes longer for each."""
    numeric = _numeric(table)
    rows = (
        "".join(_cell(cell, at, table.taxa_at, numeric) for at, cell in enumerate(row)) for row in table.rows
    )
    return mark_safe("".join(f"<tr>{row}</tr>" for row in rows))  # each cell is escaped


def _cell(cell: Datum, at: int, taxa_at: Collection[int], numeric: Collection[int]) -> SafeString:
    text = _taxa(cell.shown) if at in taxa_at and cell.value else unbroken(cell.shown)
    inside = format_html('<a href="{}">{}</a>', cell.href, text) if cell.href else text
    if at == 0:
        short = SafeString(' class="short"') if len(cell.shown) <= SHORT else ""
        return format_html('<th scope="row"{}>{}</th>', short, inside)
    if at in numeric:
        return format_html('<td class="num">{}</td>', inside)
    wide = SafeString(' class="why"') if len(cell.shown) > LONG and at not in taxa_at else ""
    return format_html("<td{}>{}</td>", wide, inside)


def _taxa(names: str) -> SafeString:
    """One name, or several with commas between."""
    return mark_safe(", ".join(scientific(name) for name in names.split(", ")))  # each is escaped


def _numeric(table: Table) -> set[int]:
    """Columns of numbers: where one is missing, the words in its place stand like a number."""
    return {at for row in table.rows for at, cell in enumerate(row) if at and cell.numeric}


@register.filter
def is_number(key: str, table: Table) -> bool:
    """True for a column of numbers."""
    at = [name for name, _ in table.columns].index(key)
    return at > 0 and any(row[at].numeric for row in table.rows)
