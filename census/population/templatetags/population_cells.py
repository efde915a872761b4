"""Cells of a table of the populations, with what is behind them."""

import re
from collections.abc import Sequence

from django import template
from django.utils.html import escape, format_html
from django.utils.safestring import SafeString, mark_safe

from ..rules.answer import Datum, Table

register = template.Library()

SHORT = 14
"""Letters of a quarter, a code or a day, which stay on one line."""

_DAY = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")


@register.filter
def whole_days(text: str) -> SafeString:
    """Words whose days do not break at their hyphens, on a narrow page."""
    return mark_safe(_DAY.sub(r'<span class="day">\g<0></span>', escape(text)))  # escaped before


@register.simple_tag
def cells(row: Sequence[Datum], taxa_at: int) -> SafeString:
    """The cells of a row. Made here: a page has thousands, and a template takes longer for each."""
    made = (_cell(cell, at == 0, at == taxa_at) for at, cell in enumerate(row))
    return mark_safe("".join(made))  # each is escaped


def _cell(cell: Datum, heads: bool, italic: bool) -> SafeString:
    inside = format_html('<a href="{}">{}</a>', cell.href, cell.shown) if cell.href else cell.shown
    if italic:
        inside = format_html('<i class="name">{}</i>', inside)
    if heads:
        whole = SafeString(' class="short"') if len(cell.shown) <= SHORT else ""
        return format_html('<th scope="row"{}>{}</th>', whole, inside)
    if cell.numeric:
        return format_html('<td class="num">{}</td>', inside)
    return format_html("<td>{}</td>", inside)


@register.filter
def is_number(key: str, table: Table) -> bool:
    """True for a column of numbers."""
    at = [name for name, _ in table.columns].index(key)
    return at > 0 and any(row[at].numeric for row in table.rows)
