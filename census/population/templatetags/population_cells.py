"""Cells of a table of the populations, with what is behind them."""

from collections.abc import Sequence

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from ..rules.answer import Datum, Table

register = template.Library()


@register.simple_tag
def cells(row: Sequence[Datum], italic: bool) -> SafeString:
    """The cells of a row. Made here: a page has thousands, and a template takes longer for each."""
    return mark_safe("".join(_cell(cell, at == 0, italic) for at, cell in enumerate(row)))  # each is escaped


def _cell(cell: Datum, heads: bool, italic: bool) -> SafeString:
    inside = format_html('<a href="{}">{}</a>', cell.href, cell.shown) if cell.href else cell.shown
    if heads:
        named = format_html('<i class="name">{}</i>', inside) if italic else inside
        return format_html('<th scope="row">{}</th>', named)
    if cell.numeric:
        return format_html('<td class="num">{}</td>', inside)
    return format_html("<td>{}</td>", inside)


@register.filter
def is_number(key: str, table: Table) -> bool:
    """True for a column of numbers."""
    at = [name for name, _ in table.columns].index(key)
    return at > 0 and any(row[at].numeric for row in table.rows)
